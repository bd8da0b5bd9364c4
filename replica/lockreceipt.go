package replica

import (
	"context"
	"fmt"
	"strings"

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

var byGrant = map[recordv1.Grant]servicev1.Status{
	recordv1.Grant_GRANT_HELD_LOCALLY: servicev1.Status_STATUS_HELD_LOCALLY,
	recordv1.Grant_GRANT_LIVE:         servicev1.Status_STATUS_LIVE,
	recordv1.Grant_GRANT_CONTESTED:    servicev1.Status_STATUS_CONTESTED,
}

// lockReceipt says what a lock may rely on. CONFIRMED comes only from a state
// read behind a quorum barrier after the lock's index (protocol.md C6). A lock
// that the ledger has ended is never shown as a promise, confirmed or not: what
// was applied stays so.
func (r *Replica) lockReceipt(ctx context.Context, rec *servicev1.Receipt, seq uint64, drained bool) {
	rec.Status = servicev1.Status_STATUS_UNCONFIRMED
	if st, ok := byGrant[rec.GetGrant()]; ok {
		rec.Status = st
	}
	confirmed := drained && r.confirm(ctx) == nil && r.alarmText() == ""
	_, target := r.yard.about(seq)
	promised, ended := rec.GetPromised(), ""
	live := map[string]bool{}
	r.node.View(func(s *ledger.State, _ uint64) {
		h := s.Holds[rec.GetRef()]
		switch {
		case h == nil && drained:
			ended = "This lock is off: see the history. You have no protection from it."
		case h == nil:
		case !h.Active():
			ended = endedWords(h)
		case h.StoodClear():
			ended = stoodClearWords(h)
		case confirmed:
			target, promised = h.Target(), s.Covers(h)
		}
		for _, p := range promised {
			live[p] = s.Points[p] == nil || s.Points[p].Live
		}
	})
	if ended != "" {
		rec.Promised = nil
		rec.Status, rec.Text = servicev1.Status_STATUS_CONFIRMED, ended
		return
	}
	if confirmed {
		rec.Status = servicev1.Status_STATUS_CONFIRMED
	}
	if confirmed && len(promised) == 0 {
		rec.Status = servicev1.Status_STATUS_LIVE // an empty box protects nothing
		target += " (empty)"
	}
	if r.anyLive(promised, live, confirmed) {
		rec.Status = servicev1.Status_STATUS_LIVE
	}
	home := ledger.YardOf(target)
	if target == "" {
		target, home = "the point", "another yard"
	}
	rec.Promised = promised
	if a := r.alarmText(); a != "" && rec.Status != servicev1.Status_STATUS_LIVE {
		rec.Status, rec.Promised, rec.Text = servicev1.Status_STATUS_UNCONFIRMED, nil, divergedWords(r.set.Name, a)
		return
	}
	rec.Text = strings.TrimSpace(r.yard.caveat(seq) + " " + lockWords(rec.Status, r.set.Name, target, home, promised, rec.GetOutcome().GetTimeUnixMs()))
	for _, f := range rec.GetOutcome().GetFlags() {
		if f.GetCode() == "DOES_NOT_ISOLATE" || f.GetCode() == "TAG_LACKS" {
			rec.Text = strings.TrimSpace(words.English.Says(f) + ". " + rec.Text)
		}
	}
}

// anyLive reports whether one of the points is live: by the ledger, and for this
// yard's own by what its journal holds beyond it. An opening that only the
// journal has counts for a promise of this yard, not for a confirmed one.
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

// stoodClearWords is what a holder is told who stood clear (protocol.md 4).
func stoodClearWords(h *ledger.Hold) string {
	return fmt.Sprintf("You have stood clear for test %s. You have NO protection. After the test: lock again, or sign off.", h.Stood)
}

// endedWords is what the holder of a lock that is off is told, released, removed
// or handed over (protocol.md 4).
func endedWords(h *ledger.Hold) string {
	return fmt.Sprintf("Ended at %s by %s: %s. You have no protection from it.", clock(h.Off.Late), h.Off.By, words.English.Says(h.How))
}
