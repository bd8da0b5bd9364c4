package client

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/grpc/codes"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

var (
	// NotSent is what a receipt says of a record kept in the outbox.
	NotSent = code.New("NOT_SENT", code.Row{Next: "yardhasp outbox send"})
	// RefusedWithoutReason: a yard refused a record and gave no condition.
	RefusedWithoutReason = code.New("REFUSED_WITHOUT_REASON", code.Row{})
	// TicketNowhere: no yard that was asked has a record with the ticket.
	TicketNowhere = code.New("TICKET_NOWHERE", code.Row{Args: "device counter:number", Answer: code.Unknown})
)

// parcel is one signed record on its way.
type parcel struct {
	signed []byte
	rec    *recordv1.Record
	run    string
	yards  []Yard
	// direct: it goes straight to the quorum, where tickets are unique in the ledger.
	direct bool
	// sending, if not nil, is called before the bytes first leave for a yard.
	sending func(yard string) error
}

// lost is a record that was sent to a yard and not answered.
type lost struct{ err error }

func (e *lost) Error() string { return "no answer: " + Plain(e.err) }
func (e *lost) Unwrap() error { return e.err }

// Submit signs a record and has it recorded. A refusal by the rules is a *Refused. A
// record that was sent and not answered is an *UnknownOutcome. A record that certainly
// nobody has is an *Unreachable. But if it may wait in the outbox, there is no error and
// the receipt says STATUS_NOT_SENT.
func (c *Client) Submit(ctx context.Context, rec *recordv1.Record) (*servicev1.Receipt, error) {
	kind := ledger.KindFor(rec)
	if kind == nil {
		return nil, errors.New("the record has no act this release knows")
	}
	at := home(rec, c.jobYard(ctx))
	p := parcel{rec: rec, direct: kind.Way == ledger.Direct, yards: c.order(at)}
	if kind.Elsewhere == ledger.HomeOnly {
		y, known := c.profile.YardByID(at)
		if !known {
			return nil, fmt.Errorf("%s: its yard %q is not in your profile: add the yard's address and key there, or record it at that yard", kind.Called, at)
		}
		p.yards = []Yard{y}
	}
	if kind.Panel == ledger.AtPanel {
		run, err := c.prepare(ctx, rec, at)
		if err != nil {
			return nil, err
		}
		p.run = run
	}
	signed, err := c.Sign(rec)
	if err != nil {
		return nil, err
	}
	p.signed = signed
	receipt, err := c.send(ctx, &p)
	var nobody *Unreachable
	if errors.As(err, &nobody) && kind.Outbox == ledger.MayWait && c.state != "" {
		if err := c.keep(&p); err != nil {
			return nil, fmt.Errorf("no yard is reachable, and the record can't be kept here either: NOBODY HAS IT: %w", err)
		}
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_NOT_SENT, Means: NotSent.About(""), ReadUnixMs: c.now().UnixMilli()}, nil
	}
	return receipt, err
}

// send tries the parcel's yards in turn, by the rules of the package comment.
func (c *Client) send(ctx context.Context, p *parcel) (*servicev1.Receipt, error) {
	var tried []Attempt
	var unknown *UnknownOutcome
	queue := slices.Clone(p.yards)
	for len(queue) > 0 {
		y := queue[0]
		queue = queue[1:]
		receipt, err := c.sendTo(ctx, y, p)
		if err == nil {
			return receipt, nil
		}
		var refused *Refused
		var answer *Answer
		var gone *lost
		var far *notConnected
		switch {
		case errors.As(err, &refused):
			if unknown == nil {
				return nil, err
			}
			return c.settle(ctx, unknown, refused)
		case errors.As(err, &gone):
			unknown = &UnknownOutcome{Ticket: p.rec.GetTicket(), Yard: y.ID, Err: gone.err}
			if !p.direct {
				return nil, unknown
			}
		case errors.As(err, &far):
		case errors.As(err, &answer):
			if answer.Reason == ReasonNotHome && len(p.yards) > 1 {
				// The home yard that it named comes next, if it was not asked yet.
				if h, ok := c.profile.YardByID(answer.Home); ok && !slices.ContainsFunc(tried, func(a Attempt) bool { return a.Yard == h.ID }) {
					queue = append([]Yard{h}, slices.DeleteFunc(queue, func(q Yard) bool { return q.ID == h.ID })...)
				}
			} else if answer.Reason != ReasonNotServing && answer.Reason != ReasonNoQuorum {
				if unknown != nil {
					return nil, unknown
				}
				return nil, err
			}
		default:
			return nil, err
		}
		tried = append(tried, Attempt{y.ID, err})
	}
	if unknown != nil {
		return nil, unknown
	}
	return nil, &Unreachable{tried}
}

// sendTo sends to one yard, and sends the same bytes again when the connection is lost.
// A *notConnected or an *Answer means that this yard does not have the record. A *lost
// means that it may have it.
func (c *Client) sendTo(ctx context.Context, y Yard, p *parcel) (*servicev1.Receipt, error) {
	req := &servicev1.SubmitRequest{Signed: p.signed, Run: p.run}
	var gone *lost
	for try := 0; try <= c.retries && ctx.Err() == nil; try++ {
		conn, err := c.reach(ctx, y, gone != nil)
		if err != nil {
			if gone != nil {
				return nil, gone
			}
			return nil, err
		}
		if gone == nil && p.sending != nil {
			if err := p.sending(y.ID); err != nil {
				return nil, err
			}
		}
		resp, err := servicev1.NewLedgerServiceClient(conn).Submit(ctx, req)
		if r := resp.GetReceipt(); err == nil && r != nil {
			return refusedReceipt(r)
		}
		if err == nil {
			return nil, &lost{errors.New("the answer has no receipt")}
		}
		err = decode(y.ID, err)
		var refused *Refused
		var answer *Answer
		switch {
		case errors.As(err, &refused):
			if gone != nil {
				return c.settle(ctx, &UnknownOutcome{Ticket: p.rec.GetTicket(), Yard: y.ID, Err: gone.err}, refused)
			}
			return nil, refused
		case errors.As(err, &answer) && answer.Reason != ReasonOutcomeUnknown:
			if gone != nil {
				return nil, gone
			}
			return nil, answer
		case errors.As(err, &answer):
			return nil, &lost{err}
		}
		gone = &lost{err}
	}
	if gone == nil {
		return nil, &notConnected{ctx.Err()}
	}
	return nil, gone
}

// refusedReceipt makes the error for a receipt that says refused.
func refusedReceipt(r *servicev1.Receipt) (*servicev1.Receipt, error) {
	out := r.GetOutcome()
	if len(out.GetConditions()) > 0 && !out.GetAccepted() {
		return nil, &Refused{out}
	}
	if r.GetStatus() == servicev1.Status_STATUS_REFUSED {
		why := r.GetMeans()
		if why == nil {
			why = RefusedWithoutReason.About(r.GetRef())
		}
		return nil, &Refused{&recordv1.Outcome{Ref: r.GetRef(), Conditions: []*recordv1.Finding{why}}}
	}
	return r, nil
}

// settle decides what a refusal means when the same bytes may have been taken before. A
// repeated ticket means that they were taken, and their receipt tells more.
func (c *Client) settle(ctx context.Context, unknown *UnknownOutcome, refused *Refused) (*servicev1.Receipt, error) {
	if refused.Has(ledger.TicketRepeated) {
		t := unknown.Ticket
		if r, err := c.Receipt(ctx, t.GetDevice(), t.GetCounter(), ""); err == nil {
			return r, nil
		}
		return nil, unknown
	}
	// A refusal by the ledger itself has a time. It used up the ticket, so the other
	// copy can no longer be accepted. Any other refusal says nothing about that copy.
	if refused.Outcome.GetTimeUnixMs() > 0 {
		return nil, refused
	}
	return nil, unknown
}

// Receipt asks what became of a ticket of this person. If a yard is given, only that one
// is asked. It is an *Answer of codes.NotFound only when every yard asked says that it
// does not have the record.
func (c *Client) Receipt(ctx context.Context, device string, counter uint64, yard string) (*servicev1.Receipt, error) {
	yards := c.order()
	if yard != "" {
		y, ok := c.profile.YardByID(yard)
		if !ok {
			return nil, fmt.Errorf("yard %q is not in your profile", yard)
		}
		yards = []Yard{y}
	}
	req := &servicev1.GetReceiptRequest{Key: c.public(), Device: device, Counter: counter}
	var tried []Attempt
	missing := 0
	for _, y := range yards {
		conn, err := c.reach(ctx, y, false)
		if err == nil {
			var resp *servicev1.GetReceiptResponse
			resp, err = servicev1.NewLedgerServiceClient(conn).GetReceipt(ctx, req)
			if err == nil {
				return resp.GetReceipt(), nil
			}
			err = decode(y.ID, err)
		}
		var answer *Answer
		if errors.As(err, &answer) && answer.Code == codes.NotFound {
			missing++
		}
		tried = append(tried, Attempt{y.ID, err})
	}
	if missing > 0 && missing == len(tried) {
		nowhere := TicketNowhere.About(device, device, counter)
		return nil, &Answer{Yard: tried[0].Yard, Code: codes.NotFound, Because: nowhere, Text: inWords(nowhere)}
	}
	return nil, &Unreachable{tried}
}
