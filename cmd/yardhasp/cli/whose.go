package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// whose says whose a lock is and where it hangs, from the last board read on this
// machine. A lock is otherwise named by a number, and nobody should sign a lock away by
// a number alone.
type whose struct {
	holds   map[string]*recordv1.HoldView
	readMS  int64
	unknown bool
}

// keptLocks takes the last board kept on this machine. It asks nobody and needs no key.
// Without a board, or with one of another ledger, no lock is known.
func (a *App) keptLocks(ledgerID []byte) *whose {
	w := &whose{holds: map[string]*recordv1.HoldView{}}
	p, err := a.profile()
	if err != nil || string(p.Ledger) != string(ledgerID) {
		return w
	}
	dir, err := a.stateDir(p)
	if err != nil {
		return w
	}
	b, saved, err := client.ReadLastBoard(dir)
	if err != nil {
		return w
	}
	w.readMS = saved.UnixMilli()
	for _, h := range b.GetHolds() {
		w.holds[h.GetRef()] = h
	}
	return w
}

// lock names a lock by its number, its owner and its place.
func (w *whose) lock(r *recordv1.JournalRef) string {
	ref := ledger.RefOf(r)
	h := w.holds[ref]
	if h == nil {
		w.unknown = true
		return ref + " (WHOSE IS NOT KNOWN HERE)"
	}
	return fmt.Sprintf("%s (%s, on %s)", ref, ownerOf(h), h.GetTarget())
}

// rests says what the names of locks rest on. If a lock is not known, it says what to
// read first.
func (w *whose) rests(p *page) {
	if w.readMS != 0 {
		p.line("  whose each lock is: as the board said that was read on this machine %s", p.a.when(w.readMS))
	}
	if w.unknown {
		p.loud("READ FIRST:", "\"yardhasp board\", then this draft again with \"yardhasp countersign FILE --show\": sign for no lock that you do not know")
	}
}

// draftedLocks are the locks that a draft names.
func draftedLocks(rec *recordv1.Record) []*recordv1.JournalRef {
	switch act := rec.GetAct().(type) {
	case *recordv1.Record_Removal:
		return []*recordv1.JournalRef{act.Removal.GetHold()}
	case *recordv1.Record_ClaimLock:
		return []*recordv1.JournalRef{act.ClaimLock.GetHold()}
	case *recordv1.Record_HandOver:
		var out []*recordv1.JournalRef
		for _, pair := range act.HandOver.GetPairs() {
			out = append(out, pair.GetOff(), pair.GetOn())
		}
		return out
	}
	return nil
}

// lookUp warns the writer of a draft of each lock in it that no board shows. Otherwise
// others would sign it for nothing. A contractor gets no warning, because they are shown
// only their own locks.
func (a *App) lookUp(ctx context.Context, cl *client.Client, rec *recordv1.Record) {
	locks := draftedLocks(rec)
	if len(locks) == 0 {
		return
	}
	b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, "")
	switch {
	case err != nil:
		a.warnf("no yard says whose these locks are: %v", err)
		return
	case ledger.Outsider(b, cl.Profile().Person):
		return
	}
	w := &whose{holds: map[string]*recordv1.HoldView{}}
	for _, h := range b.GetHolds() {
		w.holds[h.GetRef()] = h
	}
	var known []string
	for _, l := range locks {
		if w.holds[ledger.RefOf(l)] == nil {
			a.warnf("no lock %s is on, as %s has it: read its number again before anybody signs", ledger.RefOf(l), b.GetAsOf().GetYard())
			continue
		}
		known = append(known, w.lock(l))
	}
	if who := rec.GetRemoval().GetSecond(); who != "" && !isManager(b, who) {
		a.warnf("%s is not enrolled as a manager: two managers sign a removal", who)
	}
	for _, pair := range rec.GetHandOver().GetPairs() {
		h := w.holds[ledger.RefOf(pair.GetOff())]
		for _, s := range b.GetSignedOn() {
			if h.GetHolder() != "" && s.GetPerson() == h.GetHolder() && s.GetJob() == h.GetJob() {
				a.warnf("%s is signed on to %s (%s): they come out and sign off before this lock comes off, or work there stops", s.GetPerson(), s.GetJob(), s.GetRef())
			}
		}
	}
	if len(known) > 0 {
		a.hintf("it is about %s", strings.Join(known, ", "))
	}
}

func isManager(b *recordv1.Board, person string) bool {
	return slices.ContainsFunc(b.GetPeople(), func(p *recordv1.PersonView) bool {
		return p.GetId() == person && slices.Contains(p.GetRoles(), recordv1.Role_ROLE_MANAGER)
	})
}
