package replica

import (
	"context"
	"errors"
	"time"

	"google.golang.org/grpc/codes"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
	"yardhasp/replica/yard"
)

// submitJournal writes a record into this yard's journal. Then it waits a while for
// the ledger to take it.
func (r *Replica) submitJournal(ctx context.Context, e *ledger.Entry, kind, run string) (*servicev1.Receipt, error) {
	reply, err := r.yard.capture(e, run)
	if unheard(err) && r.catchUp(ctx) {
		reply, err = r.yard.capture(e, run)
	}
	if err != nil {
		return nil, r.journalError(err, kind)
	}
	return r.journalReceipt(ctx, reply, kind)
}

// unheard reports whether a refusal may only mean that this yard has not heard of a
// new person, point or job yet.
func unheard(err error) bool {
	var no *yard.Refused
	if !errors.As(err, &no) {
		return false
	}
	for _, c := range no.Conditions {
		if row, _ := code.Of(c).Row(); row.Answer != code.Unknown && !code.Is(c, ledger.NotTheSigner, ledger.NotApproved) {
			return false
		}
	}
	return true
}

// catchUp brings this replica's state up to the quorum's, if a quorum answers soon.
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
		return answer(codes.Unavailable, client.ReasonNotServing.About(r.set.Yard, r.set.Yard, ns.Because))
	case errors.As(err, &no):
		for _, c := range no.Conditions {
			if code.Is(c, yard.NotHome...) {
				return detailed(codes.FailedPrecondition, code.Brief(c), string(client.ReasonNotHome), map[string]string{"yard": ledger.YardOf(c.GetSubject())},
					&recordv1.Outcome{Kind: kind, Conditions: no.Conditions})
			}
		}
		return refused(&recordv1.Outcome{Kind: kind, Conditions: no.Conditions})
	}
	return failed(err)
}

// journalReceipt says what a journal record is worth. It waits until the ledger has
// the record or ctx ends.
func (r *Replica) journalReceipt(ctx context.Context, reply *yard.Reply, kind string) (*servicev1.Receipt, error) {
	rec := &servicev1.Receipt{Ref: reply.Ref, Grant: reply.Grant, Promised: reply.Promised, Yard: r.set.Yard, RepeatedTicket: reply.Repeated}
	drained := r.yard.waitDrained(ctx, reply.Seq) == nil
	if drained {
		rec.Outcome = r.outcome(ctx, reply.Ref)
	}
	if o := rec.GetOutcome(); o != nil && !o.GetAccepted() {
		return nil, refused(o)
	}
	rec.ReadUnixMs = r.now().UnixMilli()
	switch kind {
	case "lock", "found_lock":
		r.lockReceipt(ctx, rec, reply.Seq, drained)
	case "release":
		rec.Status = r.written(rec.Outcome)
		rec.Means = releaseMeans(rec.Status, r.set.Yard, rec.Outcome)
	default:
		rec.Status = r.written(rec.Outcome)
		rec.Means = noteMeans(rec.Status, r.set.Yard, rec.Outcome)
	}
	return rec, nil
}

// written is the status that an outcome gives a record other than a lock. A nil
// outcome means that none is known here.
func (r *Replica) written(o *recordv1.Outcome) servicev1.Status {
	if o == nil || r.divergence() != nil {
		return servicev1.Status_STATUS_WRITTEN
	}
	return servicev1.Status_STATUS_CONFIRMED
}

// outcome waits until the history has the outcome that the state already has. An entry
// that was fetched from another yard comes without its outcome.
func (r *Replica) outcome(ctx context.Context, ref string) *recordv1.Outcome {
	for {
		if o := r.recorded(ref); o != nil || r.node.HistoryBehind() {
			return o
		}
		if rest(ctx, 2*time.Millisecond) != nil {
			return nil
		}
	}
}

var (
	// TicketElsewhere: the ledger has the ticket, from another yard or from long ago.
	TicketElsewhere = code.New("TICKET_ELSEWHERE", code.Row{Args: "device counter:number", Next: "yardhasp history"})
	TicketNotHere   = code.New("TICKET_NOT_HERE", code.Row{Args: "device counter:number", Answer: code.Unknown})
)

// receiptOf says what became of a ticket.
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
	used := false
	r.node.View(func(s *ledger.State, _ uint64) {
		used = s.TicketUsed(key, &recordv1.Ticket{Device: device, Counter: counter})
	})
	if used {
		return nil, answer(codes.FailedPrecondition, TicketElsewhere.About(device, device, counter))
	}
	return nil, answer(codes.NotFound, TicketNotHere.About(device, device, counter))
}
