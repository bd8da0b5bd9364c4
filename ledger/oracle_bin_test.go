package ledger_test

import (
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The oracle's part for bin 3 and hot work, 1910.272(f) and (g): as in
// TestPermitOracle, in the middle of everything else.

type dutyAir struct {
	at   int64
	good bool
}

type dutyPermit struct {
	named  []string
	ends   int64
	lapsed bool // it was shown suspended or over: it never comes back
	hot    bool
	done   bool
	closed bool
}

type dutyBin struct {
	air       map[string]dutyAir
	watch     map[string]string // reference -> who watches
	watchJob  map[string]string
	fumigated map[string]string
	permits   map[string]*dutyPermit
	entrant   map[string]int64 // trained for bins until
	rescuer   map[string]int64 // trained in rescue until
}

func newDutyBin() dutyBin {
	return dutyBin{air: map[string]dutyAir{}, watch: map[string]string{}, watchJob: map[string]string{}, fumigated: map[string]string{}, permits: map[string]*dutyPermit{}, entrant: map[string]int64{}, rescuer: map[string]int64{}}
}

// noteBin takes what concerns the bin and hot work of a record that was accepted.
func (o *oracle) noteBin(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	if !out.GetAccepted() {
		return
	}
	bad := o.wronglyAccepted(f, out)
	o.bin.noteAir(f, r, out, bad)
	o.bin.notePeople(f, r, out)
	o.notePermit(r, out, bad)
}

// noteAir takes what was measured, and fumigants.
func (b *dutyBin) noteAir(f fact, r *recordv1.Record, out *recordv1.Outcome, bad func(string, ...any)) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_AirReading:
		doubtful := len(out.GetFlags()) > 0 && !flagged(out, ledger.AirOutOfLimits)
		for _, v := range a.AirReading.GetValues() {
			good := map[recordv1.AirAgent]bool{oxygen: v.GetThousandths() >= 19_500 && v.GetThousandths() <= 23_500, burns: v.GetThousandths() <= 10_000,
				co: v.GetThousandths() <= 50_000, co2: v.GetThousandths() <= 5_000_000}[v.GetAgent()]
			if doubtful && good {
				continue // it counts only against going in
			}
			b.air[a.AirReading.GetJob()+a.AirReading.GetLevel().String()+v.GetAgent().String()] = dutyAir{min(f.captured, f.written), good}
		}
	case *recordv1.Record_FumigationRecorded:
		b.fumigated[out.GetRef()] = a.FumigationRecorded.GetPlace()
	case *recordv1.Record_FumigationCleared:
		c := a.FumigationCleared
		if !c.GetProvedBefore() || !c.GetProvedAfter() || c.GetThousandths() > 300 { // 0.3 ppm, 1910.1000 Table Z-1
			bad("%d thousandths of a ppm, proved %v and %v", c.GetThousandths(), c.GetProvedBefore(), c.GetProvedAfter())
		}
		delete(b.fumigated, c.GetFumigation())
	}
}

// notePeople takes who is trained for bins and in rescue, and who watches.
func (b *dutyBin) notePeople(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_RecordTraining:
		t := a.RecordTraining
		switch t.GetTraining() {
		case recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY:
			b.entrant[t.GetPerson()] = t.GetUntilUnixMs()
		case recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE:
			b.rescuer[t.GetPerson()] = t.GetUntilUnixMs()
		}
	case *recordv1.Record_StandWatch:
		b.watch[out.GetRef()], b.watchJob[out.GetRef()] = f.by, a.StandWatch.GetJob()
	case *recordv1.Record_LeaveWatch:
		delete(b.watch, a.LeaveWatch.GetWatch())
	}
}

// notePermit takes permits: what each rests on when it is issued, and who may still be
// inside when it is closed.
func (o *oracle) notePermit(r *recordv1.Record, out *recordv1.Outcome, bad func(string, ...any)) {
	b := &o.bin
	switch a := r.GetAct().(type) {
	case *recordv1.Record_IssuePermit:
		p := &dutyPermit{hot: a.IssuePermit.GetHotWork() != nil, named: a.IssuePermit.GetBinEntry().GetEntrants(), ends: a.IssuePermit.GetEndsUnixMs()}
		b.permits[a.IssuePermit.GetId()] = p
		if p.hot {
			if !b.watched(a.IssuePermit.GetJob()) {
				bad("nobody stands fire watch")
			}
			return
		}
		o.nobodyInBin("is inside already", bad)
		o.checks["permit issued"]++
		b.inForce(o, p.named, bad)
	case *recordv1.Record_HotWorkDone:
		if p := b.permits[a.HotWorkDone.GetPermit()]; p != nil && !flagged(out, ledger.NotPermitted) {
			p.done = true
		}
	case *recordv1.Record_ClosePermit:
		p := b.permits[a.ClosePermit.GetPermit()]
		if p.closed || p.hot && !p.done {
			bad("it was closed before, or the hot work is not done: %v", p)
		}
		if !p.hot {
			o.nobodyInBin("is inside", bad)
		}
		p.closed = true
	}
}

func (o *oracle) nobodyInBin(but string, bad func(string, ...any)) {
	for _, s := range o.ons {
		if !s.off && s.job == binJob {
			bad("%s %s", s.by, but)
		}
	}
}

func (b *dutyBin) watched(job string) bool {
	for ref := range b.watch {
		if b.watchJob[ref] == job {
			return true
		}
	}
	return false
}

// inForce is what a permit to be in the bin rests on, 1910.272(g)(1) and (3).
func (b *dutyBin) inForce(o *oracle, named []string, fail func(string, ...any)) {
	// 1910.272(e)(2) and (g)(5): trained for bins who goes in, in rescue who watches.
	for _, who := range named {
		if b.entrant[who] <= o.now {
			fail("%s is not trained for bins", who)
		}
	}
	rescue := false
	for ref, who := range b.watch {
		rescue = rescue || b.watchJob[ref] == binJob && b.rescuer[who] > o.now
	}
	if !rescue {
		fail("nobody who watches is trained in rescue")
	}
	for _, l := range []recordv1.AirLevel{top, middle, bottom} {
		for _, a := range []recordv1.AirAgent{oxygen, burns, co, co2} {
			if m := b.air[binJob+l.String()+a.String()]; !m.good || o.now-m.at > 30*minute {
				fail("%v at %v: good %v, %d min old", a, l, m.good, (o.now-m.at)/minute)
			}
		}
	}
	if !b.watched(binJob) {
		fail("nobody watches")
	}
	if len(b.fumigated) > 0 {
		fail("a bin is under a fumigant: %v", b.fumigated)
	}
	for _, p := range binPlan {
		if o.live[p] || o.opened[p].written == 0 {
			fail("%s is live", p)
		}
	}
}

// mayStart: work in the bin needs a permit in force that names whoever is inside.
func (b *dutyBin) mayStart(o *oracle, must []string) {
	fail := func(format string, a ...any) {
		o.t.Helper()
		o.t.Fatalf("work may start in the bin, but "+format, a...)
	}
	var open []*dutyPermit
	for _, p := range b.permits {
		if !p.hot && !p.closed {
			open = append(open, p)
		}
	}
	if len(open) != 1 {
		fail("%d permits are open", len(open))
	}
	b.inForce(o, open[0].named, fail)
	if p := open[0]; p.lapsed || o.now >= p.ends {
		fail("the permit lapsed (%v) or ended at %d", p.lapsed, p.ends)
	}
	for _, s := range o.ons {
		if !s.off && s.job == binJob && !slices.Contains(open[0].named, s.by) {
			fail("%s is inside and not named", s.by)
		}
	}
}

// energised: nothing of the bin starts under a permit to be in it, (g)(1)(ii).
func (b *dutyBin) energised(o *oracle, p string) {
	if !slices.Contains(binPlan, p) {
		return
	}
	o.checks["bin energised"]++
	for id, x := range b.permits {
		if !x.hot && !x.closed {
			o.t.Fatalf("%s was energised under the permit %s", p, id)
		}
	}
}

// shown looks at what is shown of each permit: one that lapsed never comes back.
func (b *dutyBin) shown(o *oracle, w *world) {
	for id, p := range b.permits {
		switch w.s.PermitView(id, o.now).GetState() {
		case recordv1.PermitState_PERMIT_STATE_SUSPENDED, recordv1.PermitState_PERMIT_STATE_ENDED:
			if !p.lapsed && !p.hot {
				o.checks["permit lapsed"]++
			}
			p.lapsed = true
		case recordv1.PermitState_PERMIT_STATE_IN_FORCE:
			if p.lapsed || p.closed {
				o.t.Fatalf("permit %s came back into force: %v", id, p)
			}
		}
	}
}
