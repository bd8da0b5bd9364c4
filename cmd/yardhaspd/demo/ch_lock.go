package demo

import (
	"slices"
	"strings"
	"time"

	"yardhasp/client/words"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// mechanics are the people who operate the points of their own yard.
var mechanics = map[string]string{"stonebend": "ravi", "millrow": "tomas", "eastfork": "iris"}

// keeper is the person who operates a point.
func keeper(point string) string {
	y, _, _ := strings.Cut(point, "/")
	return mechanics[y]
}

// shutDownAndOpen stops the leg and opens every point at its panel.
func shutDownAndOpen(s *story) {
	s.page.heading("The leg is shut down and every point is opened at its own panel",
		"An opening is only believed from the yard where the switch is, from somebody who stands there.")
	s.done("ravi", "shut leg 2 down in the orderly way", actShutDown())
	for _, p := range s.plan.GetPoints() {
		s.done(keeper(p), "opened "+p, actIsolate(p))
	}
	s.opened = time.Now()
	s.caughtUp()
	s.page.say("Four points, one box: on each goes an operations lock, and the keys of those locks go into the box. Millrow's two are driven over.")
	free := slices.Clone(opsLocks)
	for _, p := range s.plan.GetPoints() {
		i := slices.IndexFunc(free, func(serial string) bool { return strings.HasPrefix(serial, "op-1") == (keeper(p) == "ravi") })
		if s.expect(i >= 0, "no operations lock is left for %s", p); i < 0 {
			return
		}
		s.ops[p] = s.done(keeper(p), "hung operations lock "+free[i]+" on "+p, actLockPoint(p, free[i], jobID)).GetRef()
		free = slices.Delete(free, i, i+1)
	}
	s.caughtUp()
	for _, p := range s.plan.GetPoints() {
		s.done("ravi", "put the key of "+p+" into the box", actBoxAdd(p))
	}
}

// lockOn has the mechanic and the contractor hang their locks on the box.
func lockOn(s *story) {
	s.page.heading("The mechanic and the contractor each hang their own lock",
		"One lock, one key, one person: as long as one of them hangs, no key comes out and no start can be granted.")
	s.caughtUp()
	for _, who := range []string{"ravi", "lena"} {
		r := s.done(who, "locked the box "+lockBox+" with padlock "+padlocks[who], actLock(padlocks[who]))
		s.holds[who] = r.GetRef()
		if who == "lena" {
			s.page.say("lena reads: %s", words.English.Says(r.GetMeans()))
		}
		s.expect(len(r.GetPromised()) == len(s.plan.GetPoints()), "%s's lock covers %v", who, r.GetPromised())
	}
}

// readElsewhere has the third yard read the board.
func readElsewhere(s *story) {
	s.page.heading("Somebody at the third yard reads the board",
		"Mara at Eastfork sees both locks at once. A supervisor who can't see a lock may order a start over it.")
	if s.err != nil {
		return
	}
	b, err := s.who["mara"].Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
	if !s.must(err, "mara reads the board") {
		return
	}
	s.page.act(b.GetAsOf().GetYard(), "mara", "read the board", "of "+entry(b.GetAsOf().GetSize()-1), known(b.GetAsOf()))
	s.page.asOf(b.GetAsOf())
	s.holdLines(b)
	s.expect(b.GetAsOf().GetYard() == "eastfork" && b.GetAsOf().GetConfirmed(), "%s answered, confirmed: %v", b.GetAsOf().GetYard(), b.GetAsOf().GetConfirmed())
	s.expect(len(b.GetHolds()) == 2+len(s.ops), "the board shows %d locks, want 2 and %d operations locks", len(b.GetHolds()), len(s.ops))
	for _, h := range b.GetHolds() {
		s.expect(h.GetGuards(), "%s's lock is not shown as guarding", h.GetHolder())
	}
	s.notYet(s.job("mara"))
}

// holdLines lists the locks of a board.
func (s *story) holdLines(b *recordv1.Board) {
	for _, h := range b.GetHolds() {
		s.page.say("| %s (%s) holds %s since %s, padlock %s", h.GetName(), h.GetHolder(), h.GetTarget(), entry(h.GetIndex()), h.GetPadlock())
	}
}
