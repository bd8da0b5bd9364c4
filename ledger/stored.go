package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	storedClause  = "1910.147(d)(5)(i)"
	recheckClause = "1910.147(d)(5)(ii)"
)

var _ = declare(
	kind((*recordv1.Record).GetStoredReleased, Kind{Name: "stored_released", Called: "stored", Class: Asserts, May: whoHas(authorised), Clause: storedClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(r *recordv1.StoredReleased) About { return About{Job: r.GetJob()} },
		func(f *fields, a *recordv1.StoredReleased) {
			f.name("job", a.GetJob())
			f.place("store", a.GetStore())
			f.text("how", a.GetHow())
		},
		(*step).storedReleased),
)

// The argument release is the step that the drawing names.
var (
	Stored = code.New("STORED", code.Row{Args: "store job responsible release:text", Clause: storedClause, Who: "{responsible}", Next: "yardhasp stored {job} {store} --how HOW"})
	// WaitNotOver: the store was recorded as released before it had time to drain by
	// itself.
	WaitNotOver = code.New("WAIT_NOT_OVER", code.Row{Args: "store wait_seconds:number job responsible release:text", Clause: storedClause, Who: "{responsible}", Next: "yardhasp stored {job} {store} --how HOW"})
	Recheck     = code.New("RECHECK", code.Row{Args: "store recheck_seconds:number job responsible release:text", Clause: recheckClause, Who: "{responsible}", Next: "yardhasp stored {job} {store} --how HOW"})
	// UnknownStore: the record is kept and counts for nothing.
	UnknownStore   = code.New("UNKNOWN_STORE", code.Row{Args: "store job", Clause: storedClause, Who: "the-signer"})
	StoredReleased = code.New("STORED_RELEASED", code.Row{Args: "store job how:text"})
)

func (x *step) storedReleased(r *recordv1.StoredReleased) {
	j := x.job(r.GetJob())
	if j == nil || !x.ok {
		return
	}
	if !slices.ContainsFunc(x.s.stores[j.ID], func(st energy.Store) bool { return st.ID == r.GetStore() }) {
		x.note(UnknownStore, r.GetStore(), r.GetStore(), j.ID)
		return
	}
	if x.clockDoubt() {
		x.note(ClockDoubt, r.GetStore(), r.GetStore())
		return
	}
	j.Released[r.GetStore()] = x.mark
	x.did(StoredReleased, r.GetStore(), r.GetStore(), j.ID, r.GetHow())
}

// storedConditions checks that every store is released or waited out. A store that can
// build up again must be looked at again in time.
func (s *State) storedConditions(j *Job, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, st := range s.stores[j.ID] {
		m, done := j.Released[st.ID]
		switch {
		case !done || !s.openedBefore(j, m, 0) || s.fault(j, m) != nil:
			cs = append(cs, Stored.About(st.ID, st.ID, j.ID, j.Responsible, st.Release))
		case !s.openedBefore(j, m, int64(st.WaitSeconds)*1000):
			cs = append(cs, WaitNotOver.About(st.ID, st.ID, st.WaitSeconds, j.ID, j.Responsible, st.Release))
		case st.BuildsUp && at > m.Time+int64(st.RecheckSeconds)*1000:
			cs = append(cs, Recheck.About(st.ID, st.ID, st.RecheckSeconds, j.ID, j.Responsible, st.Release))
		}
	}
	return cs
}
