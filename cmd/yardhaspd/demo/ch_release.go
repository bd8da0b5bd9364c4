package demo

import (
	"encoding/hex"
	"slices"
	"time"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// request asks to re-energise all points of the plan.
func (s *story) request(id string) *recordv1.Record {
	return actRequest(id, time.Now().Add(10*time.Minute).UnixMilli(), s.plan.GetPoints())
}

// oneReleases takes the mechanic's lock off. A start is then refused.
func oneReleases(s *story) {
	s.page.heading("One takes off his lock, and a start is refused",
		"Ravi is done and would like the leg back. Lena's lock still hangs: the refusal says whose, and all else that is missing.")
	s.done("ravi", "signed off "+zone, actSignOff(s.ons["ravi"]))
	s.done("ravi", "took off his lock", actRelease(s.holds["ravi"]))
	if s.err != nil {
		return
	}
	b, err := s.who["mara"].Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
	s.must(err, "mara reads the board")
	for _, a := range b.GetAlarms() {
		s.page.say("the board says at every yard: %s", words.English.Says(a))
	}
	s.expect(codesOf(b.GetAlarms(), ledger.Stopped), "lena is in the zone and the responsible employee's lock is off: alarms %v", codeList(b.GetAlarms()))
	no := s.refused("ravi", "asked to re-energise all four points (start-1)", []code.Code{ledger.HoldStands, ledger.NotClear, ledger.NotToldAfter, ledger.Promised, ledger.ReachesPeople, ledger.SignedOn}, s.request("start-1"))
	var standing []string
	for _, c := range no {
		if code.Is(c, ledger.HoldStands) {
			standing = append(standing, code.Names(c, "holder")...)
		}
	}
	s.expect(slices.Contains(standing, "lena"), "the refusal names the holders %q, and not lena", standing)
	s.page.say("The manager tries to help it along:")
	s.refused("nia-okoro", "tried to take off lena's lock", []code.Code{ledger.NotYourLock}, actRelease(s.holds["lena"]))
}

// killLeader kills the leading replica in the middle of the work, and starts it again.
func killLeader(s *story) {
	s.page.heading("The leader's box loses power in the middle of it",
		"One yard orders the entries. When it dies another takes over, and what people record meanwhile is not lost.")
	lead := s.leader("")
	if s.err != nil {
		return
	}
	s.page.say("%s leads. Its process is killed (SIGKILL).", lead)
	if !s.must(s.fleet.kill(lead), "kill the leader") {
		return
	}
	reader := s.who["mara"]
	if lead == "eastfork" {
		reader = s.eyes["millrow"]
	}
	b, err := reader.Board(s.ctx, servicev1.Consistency_CONSISTENCY_LOCAL, "")
	s.must(err, "read a board without a leader")
	s.page.act(b.GetAsOf().GetYard(), reader.Profile().Person, "read the board at once", "of "+entry(b.GetAsOf().GetSize()-1), known(b.GetAsOf()))
	s.page.asOf(b.GetAsOf())
	s.holdLines(b)
	s.expect(!b.GetAsOf().GetConfirmed() && len(b.GetHolds()) == 1+len(s.ops), "confirmed without a leader: %v, %d locks", b.GetAsOf().GetConfirmed(), len(b.GetHolds()))
	s.until("a confirmed board without "+lead, func() bool {
		b, err = reader.Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		return err == nil && unheard(b.GetAsOf(), lead)
	})
	next := s.leader(lead)
	s.page.act(b.GetAsOf().GetYard(), reader.Profile().Person, "read the board again; "+next+" leads now", "of "+entry(b.GetAsOf().GetSize()-1), known(b.GetAsOf()))
	s.page.asOf(b.GetAsOf())
	s.holdLines(b)
	s.job("lena") // her client looks for a yard that answers
	r := s.flagged("lena", "took off her lock, the last one on the box, with "+lead+" still down", []code.Code{ledger.StillSignedOn}, actRelease(s.holds["lena"]))
	s.expect(r.GetYard() != lead, "%s is down and answered", lead)
	if s.err != nil {
		return
	}
	s.page.say("%s gets its power back.", lead)
	s.must(s.fleet.start(s.ctx, s.fleet.by[lead]), "start "+lead+" again")
	s.sameRoot(lead)
}

// leader waits for a leader other than the yard not, and names it.
func (s *story) leader(not string) string {
	lead := ""
	s.until("a leader", func() bool {
		m, err := s.who["mara"].Members(s.ctx, "")
		if err != nil {
			return false
		}
		i := slices.IndexFunc(m.GetMembers(), func(m *servicev1.Member) bool { return m.GetLeader() && m.GetYard() != not })
		if i >= 0 {
			lead = m.GetMembers()[i].GetYard()
		}
		return i >= 0
	})
	return lead
}

func unheard(a *recordv1.AsOf, yard string) bool {
	return slices.ContainsFunc(a.GetYards(), func(y *recordv1.YardContact) bool { return y.GetYard() == yard && !y.GetHeard() })
}

// sameRoot waits until each yard itself answers a confirmed read, with the same root.
func (s *story) sameRoot(back string) {
	roots := map[string]string{}
	var size uint64
	s.until("three yards with the same history", func() bool {
		clear(roots)
		for y, c := range s.eyes {
			b, err := c.Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
			if err != nil || b.GetAsOf().GetYard() != y || unheard(b.GetAsOf(), back) {
				return false
			}
			roots[hex.EncodeToString(b.GetAsOf().GetRoot())], size = y, b.GetAsOf().GetSize()
		}
		return len(roots) == 1
	})
	for r := range roots {
		s.page.say("all three yards, asked one by one: %d entries, root %s...", size, r[:16])
	}
}

// refuseAgain shows that it is not enough when the crew's locks are off.
func refuseAgain(s *story) {
	s.page.heading("The crew's locks are off, and a start is refused again",
		"A lock off is not a person out, and whoever works nearby must hear of a start before it comes, not by it.")
	s.caughtUp()
	s.refused("ravi", "asked to re-energise all four points (start-2)", []code.Code{ledger.HoldStands, ledger.NotClear, ledger.NotToldAfter, ledger.Promised, ledger.ReachesPeople, ledger.SignedOn}, s.request("start-2"))
	s.done("lena", "signed off "+zone, actSignOff(s.ons["lena"]))
	s.done("ravi", "looked the area over: tools out, guards on, people clear", actClear())
	s.emptyBox()
	s.done("ravi", "told dov, now that the last lock is off", actNotice(recordv1.NoticeWhen_NOTICE_WHEN_AFTER))
}

// emptyBox takes the keys out of the box, and the operations locks off the points.
func (s *story) emptyBox() {
	for _, p := range s.plan.GetPoints() {
		s.done("ravi", "took the key of "+p+" out of the box", actBoxRemove(p))
	}
	for _, p := range s.plan.GetPoints() {
		s.done(keeper(p), "took the operations lock off "+p, actRelease(s.ops[p]))
	}
	s.caughtUp()
}
