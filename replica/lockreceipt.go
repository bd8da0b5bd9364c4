package replica

import (
	"context"
	"strings"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// What the holder of a lock is told. warnings come first: they say what the lock does
// not do.
var (
	LockConfirmed = code.New("LOCK_CONFIRMED", code.Row{Args: "points at:time warnings:why"})
	LockHeldHere  = code.New("LOCK_HELD_HERE", code.Row{Args: "points yard warnings:why"})
	// LockContested: somebody asked to start what the lock covers, or the start is
	// under way.
	LockContested = code.New("LOCK_CONTESTED", code.Row{Args: "target warnings:why", Next: "yardhasp panel {target}"})
	// LockUnconfirmed: another yard could promise it, and has not answered.
	LockUnconfirmed = code.New("LOCK_UNCONFIRMED", code.Row{Args: "target yard home warnings:why"})
	// These three locks protect nothing. The point is on; or a point whose key is in
	// the box is on; or there is no key in the box.
	LockWhileLive  = code.New("LOCK_WHILE_LIVE", code.Row{Args: "point warnings:why", Clause: "1910.147(d)(3)"})
	BoxWhileLive   = code.New("BOX_LOCK_WHILE_LIVE", code.Row{Args: "box warnings:why", Clause: "1910.147(d)(3)"})
	LockOnEmptyBox = code.New("LOCK_ON_EMPTY_BOX", code.Row{Args: "box warnings:why", Clause: "1910.147(f)(3)"})
	// LockInDoubt: replicas hold different histories, so nothing is promised.
	LockInDoubt = code.New("LOCK_IN_DOUBT", code.Row{Args: "yard because:why"})

	// What the holder is told about a lock that is off, or that they stood clear of
	// (protocol.md 4).
	LockIsOff      = code.New("LOCK_IS_OFF", code.Row{Args: "record", Next: "yardhasp history"})
	LockEnded      = code.New("LOCK_ENDED", code.Row{Args: "target at:time person how:why"})
	StoodClearOfIt = code.New("STOOD_CLEAR_OF_IT", code.Row{Args: "target request"})
)

var byGrant = map[recordv1.Grant]servicev1.Status{
	recordv1.Grant_GRANT_HELD_LOCALLY: servicev1.Status_STATUS_HELD_LOCALLY,
	recordv1.Grant_GRANT_LIVE:         servicev1.Status_STATUS_LIVE,
	recordv1.Grant_GRANT_CONTESTED:    servicev1.Status_STATUS_CONTESTED,
}

// lockReceipt says what may rest on a lock. CONFIRMED comes only from a state that was
// read behind a quorum barrier after the lock's index (protocol.md C6). If the ledger
// has ended a lock, it is never shown as a promise, confirmed or not: what the ledger
// has ended stays ended.
func (r *Replica) lockReceipt(ctx context.Context, rec *servicev1.Receipt, seq uint64, drained bool) {
	rec.Status = servicev1.Status_STATUS_UNCONFIRMED
	if st, ok := byGrant[rec.GetGrant()]; ok {
		rec.Status = st
	}
	confirmed := drained && r.confirm(ctx) == nil && r.divergence() == nil
	_, target := r.yard.about(seq)
	promised := rec.GetPromised()
	var ended *recordv1.Finding
	live := map[string]bool{}
	r.node.View(func(s *ledger.State, _ uint64) {
		h := s.Holds[rec.GetRef()]
		if ended = endedMeans(h, rec.GetRef(), drained); ended != nil {
			return
		}
		if h != nil {
			target = h.Target()
		}
		if h != nil && confirmed {
			promised = s.Covers(h)
		}
		for _, p := range promised {
			live[p] = s.Points[p] == nil || s.Points[p].Live
		}
	})
	if ended != nil {
		rec.Promised = nil
		rec.Status, rec.Means = servicev1.Status_STATUS_CONFIRMED, ended
		return
	}
	if confirmed {
		rec.Status = servicev1.Status_STATUS_CONFIRMED
	}
	empty := confirmed && len(promised) == 0 // an empty box protects nothing
	if empty || r.anyLive(promised, live, confirmed) {
		rec.Status = servicev1.Status_STATUS_LIVE
	}
	rec.Promised = promised
	if d := r.divergence(); d != nil && rec.Status != servicev1.Status_STATUS_LIVE {
		rec.Status, rec.Promised, rec.Means = servicev1.Status_STATUS_UNCONFIRMED, nil, LockInDoubt.About(rec.GetRef(), r.set.Yard, d)
		return
	}
	rec.Means = lockMeans(rec, r.set.Yard, target, empty, r.lockWarnings(rec, seq))
}

// endedMeans says that a lock protects nobody any more. It is nil while the lock may
// protect.
func endedMeans(h *ledger.Hold, ref string, drained bool) *recordv1.Finding {
	switch {
	case h == nil && drained:
		return LockIsOff.About(ref, ref)
	case h == nil:
		return nil
	case !h.Active():
		return LockEnded.About(ref, h.Target(), h.Off.Late, h.Off.By, h.How)
	case h.StoodClear():
		return StoodClearOfIt.About(ref, h.Target(), h.Stood)
	}
	return nil
}

// lockWarnings says what a lock does not do: it may not isolate the work that it was
// hung for, or not protect its holder at all.
func (r *Replica) lockWarnings(rec *servicev1.Receipt, seq uint64) []*recordv1.Finding {
	var out []*recordv1.Finding
	for _, f := range rec.GetOutcome().GetFlags() {
		if code.Is(f, ledger.DoesNotIsolate) || code.Is(f, ledger.HoldsNothing...) {
			out = append(out, f)
		}
	}
	if c := r.yard.caveat(seq); c != nil {
		out = append(out, c)
	}
	return out
}

// lockMeans is what the holder is told about a lock that is on.
func lockMeans(rec *servicev1.Receipt, yard, target string, empty bool, warnings []*recordv1.Finding) *recordv1.Finding {
	ref := rec.GetRef()
	box := strings.Count(target, "/") == 1
	switch rec.GetStatus() {
	case servicev1.Status_STATUS_CONFIRMED:
		return LockConfirmed.About(ref, rec.GetPromised(), rec.GetOutcome().GetTimeUnixMs(), warnings)
	case servicev1.Status_STATUS_HELD_LOCALLY:
		return LockHeldHere.About(ref, rec.GetPromised(), yard, warnings)
	case servicev1.Status_STATUS_CONTESTED:
		return LockContested.About(ref, target, warnings)
	case servicev1.Status_STATUS_LIVE:
		switch {
		case box && empty:
			return LockOnEmptyBox.About(ref, target, warnings)
		case box:
			return BoxWhileLive.About(ref, target, warnings)
		}
		return LockWhileLive.About(ref, target, warnings)
	}
	return LockUnconfirmed.About(ref, target, yard, ledger.YardOf(target), warnings)
}

// anyLive reports whether one of the points is live. For another yard's point the
// ledger says. For this yard's own points the journal says, because it may know more
// than the ledger. If only the journal has an opening, a promise of this yard may rest
// on it, but nothing confirmed may.
func (r *Replica) anyLive(points []string, ledgerSays map[string]bool, confirmed bool) bool {
	for _, p := range points {
		own := ledger.YardOf(p) == r.set.Yard
		if own && r.yard.panel(p).Position == recordv1.Position_POSITION_LIVE {
			return true
		}
		if ledgerSays[p] && (confirmed || !own) {
			return true
		}
	}
	return false
}
