package ledger_test

import (
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// What the duties demand of work, of energising and of what is shown.

// mayStartDuties: whoever works is trained as things are now, by an employer whom
// the hazards were told; the procedure, the crews and the drawings are in order.
func (o *oracle) mayStartDuties(id string, must []string, fail func(string, ...any)) {
	j := o.jobs[id]
	o.checks["work may start"]++
	if len(must) > 1 {
		o.checks["work by several"]++
	}
	yards := []string{ledger.YardOf(j.zone)}
	for _, p := range j.plan {
		yards = append(yards, ledger.YardOf(p))
	}
	for _, p := range must {
		if o.until[p] <= o.now { // (c)(7)(i)(A)
			fail("the training of %s has lapsed", p)
		}
		if _, owed := o.retrain[p][j.zone]; owed { // (c)(7)(iii)
			fail("%s is to be retrained on %s", p, j.zone)
		}
		for _, y := range yards { // (f)(2)(i)
			if e := o.employer[p]; e != "" && !o.exchanged[y+" "+e] {
				fail("%s and the co-op have not told each other their procedures for %s", e, y)
			}
		}
	}
	if cs := o.crews[id]; len(cs) > 0 { // (f)(3)(ii)(A) and (C)
		o.checks["work of crews"]++
		if c := o.lead[id]; c == "" || o.until[c] <= o.now {
			fail("nobody with current training coordinates its crews: %q", c)
		}
		for _, c := range cs {
			if o.until[c.responsible] <= o.now {
				fail("the training of %s, responsible for crew %s, has lapsed", c.responsible, c.name)
			}
		}
	}
	if from := o.required[ledger.YardOf(j.zone)]; from > 0 && j.opened >= from { // (c)(4)(i)
		o.checks["work by procedure"]++
		v := o.current[j.zone]
		if v.number == 0 && !o.excused[id] {
			fail("no procedure of %s is approved, and no exception is attested", j.zone)
		}
		if v.number == 0 && len(slices.Compact(slices.Sorted(slices.Values(must)))) > 1 { // (c)(4)(i)(6)
			fail("%v work on it without a procedure, and one person is to have the one device", must)
		}
		for _, p := range v.points {
			if !slices.Contains(j.plan, p) {
				fail("version %d locks %s, and the plan does not", v.number, p)
			}
		}
	}
	for _, y := range yards { // NFPA 70E 120.5(1)
		if o.drawn[y] != "" && !o.walked[y] {
			fail("nobody has walked the drawing of %s", y)
		}
	}
}

// plainStart is what any work needs, by whatever zone: told, shut down, every point
// open and held by the one responsible and by everybody inside.
func (o *oracle) plainStart(id string) []string {
	j, must, fail := o.jobs[id], o.atWork(id), o.noWork(id)
	o.mayStartActs(oracleJob{j.zone, j.responsible, j.plan}, must, fail)
	o.mayStartDuties(id, must, fail)
	for _, p := range j.plan {
		if o.opened[p].written == 0 || o.live[p] {
			fail("%s is live", p)
		}
		for _, who := range must {
			if !o.holding(who, p) {
				fail("%s holds nothing that counts on %s", who, p)
			}
		}
	}
	for ref, place := range o.bin.fumigated {
		if id == "desk-1" && place == "eastfork/office" {
			fail("%s is under a fumigant (%s)", place, ref)
		}
	}
	if len(o.told[id]) == 0 || len(o.shut[id]) == 0 {
		fail("nobody was told, or nothing was shut down")
	}
	return must
}

// noChoke: a choked leg is never jogged free, 1910.272(q)(1), for a start and for a
// test alike. What is choked on no drawing is reached by anything.
func (o *oracle) noChoke(p string) {
	for ref, where := range o.chokes {
		var near []string
		switch {
		case where == room || where == "stonebend/bus":
			near = reachOf[room]
		case where == zone || where == motor || where == "stonebend/leg":
			near = reachOf[zone]
		default:
			near = []string{p}
		}
		if slices.Contains(near, p) {
			o.t.Fatalf("%s was to be energised while %s is choked (%s)", p, where, ref)
		}
	}
}

func (o *oracle) energisedDuties(p string) {
	o.noChoke(p)
	o.bin.energised(o, p)
}

// checkDuties looks at the state after an entry: the flags of a lock stay with it as
// long as it hangs, but "owner unknown", which its owner ends.
func (o *oracle) checkDuties(w *world, out *recordv1.Outcome) {
	o.now = out.GetTimeUnixMs()
	if out.GetAccepted() && len(out.GetDid()) > 0 {
		o.kinds[out.GetKind()]++
	}
	o.bin.shown(o, w)
	for ref, h := range o.holds {
		if h.off {
			continue
		}
		got := w.s.Holds[ref]
		for _, f := range h.flags {
			if got == nil || !flagIn(got.Flags, f.GetCode()) {
				o.t.Fatalf("the flag %s of the lock %s was lost by %s", f.GetCode(), ref, out.GetKind())
			}
		}
		if got.Equipment != h.equipment {
			o.t.Fatalf("the lock %s: equipment %v, by its record %v", ref, got.Equipment, h.equipment)
		}
	}
	for _, id := range []string{"desk-1", "desk-2", binJob} {
		if j := w.s.Jobs[id]; j != nil && !j.Closed.Set() && len(w.s.MissingForWork(j)) == 0 {
			must := o.plainStart(id)
			o.checks["work on "+id]++
			if id == binJob {
				o.bin.mayStart(o, must)
			}
		}
	}
	if len(w.entries)%8 == 0 {
		o.checkBoard(w.board())
	}
}

// checkBoard looks at what everybody sees: the faults of every padlock that hangs,
// and every choke, as long as nobody mended them.
func (o *oracle) checkBoard(b *recordv1.Board) {
	for _, v := range b.GetHolds() {
		h := o.holds[v.GetRef()]
		if h == nil || h.padlock == "" {
			continue
		}
		for _, c := range o.padlockFaults(h) {
			o.checks["padlock shown "+string(c)]++
			if !flagIn(v.GetStanding(), c) {
				o.t.Fatalf("the padlock %s of the lock %s is %s, and the board does not say so: %v", h.padlock, v.GetRef(), c, v.GetStanding())
			}
		}
	}
	for ref, where := range o.chokes {
		if !slices.ContainsFunc(b.GetAlarms(), func(f *recordv1.Finding) bool {
			return code.Is(f, ledger.Choked) && f.GetSubject() == where && slices.Contains(code.Names(f, "record"), ref)
		}) {
			o.t.Fatalf("%s is choked (%s), and no alarm says so", where, ref)
		}
	}
}

// notePadlock takes what concerns padlocks, 1910.147(c)(5)(ii).
func (o *oracle) notePadlock(f fact, r *recordv1.Record, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_RegisterPadlock:
		if o.padlocks[a.RegisterPadlock.GetSerial()] != nil {
			bad("the serial is taken")
		}
		o.padlocks[a.RegisterPadlock.GetSerial()] = a.RegisterPadlock
	case *recordv1.Record_MoveKey:
		m := a.MoveKey
		switch {
		case o.padlocks[m.GetSerial()] == nil:
		case m.GetMove() == recordv1.KeyMove_KEY_MOVE_TAKEN_OUT:
			o.spareOut[m.GetSerial()] = true
		case hasRole(f.by, manager) && (m.GetHolder() == "" || hasRole(m.GetHolder(), manager)):
			delete(o.spareOut, m.GetSerial())
		}
	case *recordv1.Record_ReportPadlock:
		o.troubles[a.ReportPadlock.GetSerial()+a.ReportPadlock.GetTrouble().String()] = true
	case *recordv1.Record_ClearPadlock:
		k := a.ClearPadlock.GetSerial() + a.ClearPadlock.GetTrouble().String()
		if !o.troubles[k] || !hasRole(f.by, supervisor, manager) {
			bad("nothing is reported, or they may not clear it")
		}
		delete(o.troubles, k)
	case *recordv1.Record_ReviewLock:
		if !hasRole(f.by, supervisor, manager) || a.ReviewLock.GetNextUnixMs() <= o.now {
			bad("they may not, or the next day is over")
		}
		if h := o.holds[a.ReviewLock.GetHold()]; h == nil || h.off || !h.equipment {
			bad("%v is no equipment lock that hangs", h)
		}
	}
}

// padlockFaults are what the lock's padlock breaks, as long as nobody mends it.
func (o *oracle) padlockFaults(h *oracleHold) []code.Code {
	var out []code.Code
	p := o.padlocks[h.padlock]
	if p != nil && !h.equipment {
		switch p.GetKind() {
		case recordv1.PadlockKind_PADLOCK_KIND_KEYED_ALIKE:
			out = append(out, ledger.KeyedAlike)
		case recordv1.PadlockKind_PADLOCK_KIND_COMBINATION:
			out = append(out, ledger.Combination)
		case recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT:
			out = append(out, ledger.EquipmentPadlock)
		}
		if o.spareOut[h.padlock] {
			out = append(out, ledger.SpareKey)
		}
	}
	for k, c := range map[string]code.Code{"KEY_LOST": ledger.KeyLost, "LOCK_LOST": ledger.LockLost, "OTHER_USE": ledger.OtherUse} {
		if o.troubles[h.padlock+"PADLOCK_TROUBLE_"+k] {
			out = append(out, c)
		}
	}
	for _, x := range o.holds {
		if x != h && !x.off && !h.off && x.stood == 0 && h.stood == 0 && x.padlock == h.padlock {
			out = append(out, ledger.TwoPlaces)
			break
		}
	}
	return out
}
