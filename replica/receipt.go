package replica

import (
	"context"
	"errors"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
	"yardhasp/replica/yard"
)

// submitJournal writes a record into this yard's journal and waits a while for
// the ledger to have it.
func (r *Replica) submitJournal(ctx context.Context, signed []byte, kind, run string) (*servicev1.Receipt, error) {
	reply, err := r.yard.capture(signed, run)
	if unheard(err) && r.catchUp(ctx) {
		reply, err = r.yard.capture(signed, run)
	}
	if err != nil {
		return nil, r.journalError(err, kind)
	}
	return r.journalReceipt(ctx, reply, kind)
}

// unheard reports a refusal that may only mean that this yard has not heard yet
// of something new: a person, a point, a job.
func unheard(err error) bool {
	var no *yard.Refused
	if !errors.As(err, &no) {
		return false
	}
	for _, c := range no.Conditions {
		if !notFound[c.GetCode()] && c.GetCode() != "NOT_THE_SIGNER" && c.GetCode() != "NOT_APPROVED" {
			return false
		}
	}
	return true
}

// catchUp brings this replica's state up to the quorum's, if that answers soon.
func (r *Replica) catchUp(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, r.timers.Election)
	defer cancel()
	return r.confirm(ctx) == nil
}

func (r *Replica) journalError(err error, kind string) error {
	var ns *yard.NotServing
	var no *yard.Refused
	switch {
	case errors.As(err, &ns):
		return detailed(codes.Unavailable, "CATCHING UP / OUT OF SERVICE: this yard's machine cannot promise anything now ("+ns.Why+"). What you signed is not recorded here. Do a person-to-person check", "NOT_SERVING", nil)
	case errors.As(err, &no):
		if no.Has("NOT_HOME") {
			for _, c := range no.Conditions {
				if c.GetCode() == "NOT_HOME" {
					return detailed(codes.FailedPrecondition, c.GetText(), "NOT_HOME", map[string]string{"yard": ledger.YardOf(c.GetSubject())},
						&recordv1.Outcome{Kind: kind, Conditions: no.Conditions})
				}
			}
		}
		return refused(&recordv1.Outcome{Kind: kind, Conditions: no.Conditions})
	}
	return failed(err)
}

// journalReceipt says what a journal record amounts to, now or as soon as the
// ledger has it.
func (r *Replica) journalReceipt(ctx context.Context, reply *yard.Reply, kind string) (*servicev1.Receipt, error) {
	rec := &servicev1.Receipt{Ref: reply.Ref, Grant: reply.Grant, Promised: reply.Promised, Yard: r.set.Yard, RepeatedTicket: reply.Repeated}
	if err := r.yard.waitDrained(ctx, reply.Seq); err == nil {
		rec.Outcome = r.outcome(ctx, reply.Ref)
	}
	if o := rec.GetOutcome(); o != nil && !o.GetAccepted() {
		return nil, refused(o)
	}
	rec.ReadUnixMs = r.now().UnixMilli()
	switch kind {
	case "lock", "found_lock":
		r.lockReceipt(ctx, rec, reply.Seq)
	case "release", "sign_off":
		rec.Status = written(rec)
		rec.Text = releaseWords(rec.Status, r.set.Name, rec.Outcome)
		if kind == "sign_off" {
			rec.Text = noteWords(rec.Status, r.set.Name, rec.Outcome)
		}
	default:
		rec.Status = written(rec)
		rec.Text = noteWords(rec.Status, r.set.Name, rec.Outcome)
	}
	return rec, nil
}

func written(rec *servicev1.Receipt) servicev1.Status {
	if rec.GetOutcome() == nil {
		return servicev1.Status_STATUS_WRITTEN
	}
	return servicev1.Status_STATUS_CONFIRMED
}

// outcome waits for the history to hold what the state already has.
func (r *Replica) outcome(ctx context.Context, ref string) *recordv1.Outcome {
	for {
		if o := r.recorded(ref); o != nil {
			return o
		}
		if rest(ctx, 2*time.Millisecond) != nil {
			return nil
		}
	}
}

// lockReceipt says what a lock may rely on. CONFIRMED comes only from a state
// read behind a quorum barrier after the lock's index (protocol.md C6).
func (r *Replica) lockReceipt(ctx context.Context, rec *servicev1.Receipt, seq uint64) {
	byGrant := map[recordv1.Grant]servicev1.Status{
		recordv1.Grant_GRANT_HELD_LOCALLY: servicev1.Status_STATUS_HELD_LOCALLY,
		recordv1.Grant_GRANT_LIVE:         servicev1.Status_STATUS_LIVE,
		recordv1.Grant_GRANT_CONTESTED:    servicev1.Status_STATUS_CONTESTED,
	}
	rec.Status = servicev1.Status_STATUS_UNCONFIRMED
	if st, ok := byGrant[rec.GetGrant()]; ok {
		rec.Status = st
	}
	confirmed := rec.GetOutcome() != nil && r.confirm(ctx) == nil
	_, target := r.yard.about(seq)
	home := ledger.YardOf(target)
	promised := rec.GetPromised()
	at := rec.GetOutcome().GetTimeUnixMs()
	ended := ""
	r.node.View(func(s *ledger.State, _ uint64) {
		h := s.Holds[rec.GetRef()]
		if h == nil {
			return
		}
		target, home = h.Target(), ledger.YardOf(h.Target())
		if !confirmed {
			return
		}
		if !h.Active() {
			ended = h.How + " by " + h.Off.By
			return
		}
		rec.Status, promised = servicev1.Status_STATUS_CONFIRMED, s.Covers(h)
		for _, p := range promised {
			if s.Points[p].Live {
				rec.Status = servicev1.Status_STATUS_LIVE
			}
		}
		if len(promised) == 0 {
			rec.Status = servicev1.Status_STATUS_LIVE // an empty box protects nothing
			target += " (empty)"
		}
	})
	if ended != "" {
		rec.Status, rec.Text = servicev1.Status_STATUS_CONFIRMED, "This lock is off: "+ended+". You have no protection from it."
		return
	}
	if target == "" {
		target, home = "the point", "another yard"
	}
	rec.Promised = promised
	rec.Text = lockWords(rec.Status, r.set.Name, target, home, promised, at)
	for _, f := range rec.GetOutcome().GetFlags() {
		if f.GetCode() == "DOES_NOT_ISOLATE" {
			rec.Text = strings.TrimSpace(f.GetText() + ". " + rec.Text)
		}
	}
}

// receiptOf tells what became of a ticket.
func (r *Replica) receiptOf(ctx context.Context, key []byte, device string, counter uint64) (*servicev1.Receipt, error) {
	reply, err := r.yard.ticket(key, &recordv1.Ticket{Device: device, Counter: counter})
	if err != nil {
		return nil, r.journalError(err, "")
	}
	if reply != nil {
		kind := ""
		if o := r.recorded(reply.Ref); o != nil {
			kind = o.GetKind()
		} else {
			kind, _ = r.yard.about(reply.Seq)
		}
		return r.journalReceipt(ctx, reply, kind)
	}
	if o := r.recorded(quorum.TicketName(key, device, counter)); o != nil {
		return r.directReceipt(o, true)
	}
	return nil, status.Errorf(codes.NotFound, "no record with ticket %s %d has reached this yard: treat it as not recorded", device, counter)
}

// GetPanel tells the person at a panel what they need before an act there. The
// go-ahead shows only here, only live, and never from another yard's replica.
func (s *ledgerServer) GetPanel(ctx context.Context, q *servicev1.GetPanelRequest) (*servicev1.GetPanelResponse, error) {
	r := s.r
	known := func() (ok bool) {
		r.node.View(func(st *ledger.State, _ uint64) { ok = st.Points[q.GetPoint()] != nil })
		return ok
	}
	if !known() && !(r.catchUp(ctx) && known()) {
		return nil, status.Errorf(codes.NotFound, "no point %q is registered: read the label at the panel again", q.GetPoint())
	}
	if home := ledger.YardOf(q.GetPoint()); home != r.set.Yard {
		return nil, detailed(codes.FailedPrecondition, q.GetPoint()+" belongs to "+home+": only its own yard's machine serves its panel", "NOT_HOME", map[string]string{"yard": home})
	}
	v := r.yard.panel(q.GetPoint())
	res := &servicev1.GetPanelResponse{Point: q.GetPoint(), Yard: r.set.Yard, Position: v.Position,
		Moved: &recordv1.Moved{Epoch: v.Moved.Epoch, Seq: v.Moved.Seq}, Run: v.Run, GoAhead: v.GoAhead, Request: v.Request, WhyNot: v.WhyNot}
	if v.GoAhead {
		res.Text, res.Caution = goAheadWords, ledger.Caution
	} else {
		res.Text = "No go-ahead: do not close it."
	}
	r.node.View(func(st *ledger.State, _ uint64) {
		res.AsOf = r.asOf(st, false, "the panel reads this yard's own machine")
	})
	return res, nil
}

// GetCheckpoint signs what this replica holds.
func (s *ledgerServer) GetCheckpoint(context.Context, *servicev1.GetCheckpointRequest) (*servicev1.GetCheckpointResponse, error) {
	note, err := s.r.checkpoint()
	if err != nil {
		return nil, status.Error(codes.Internal, err.Error())
	}
	return &servicev1.GetCheckpointResponse{Note: note}, nil
}
