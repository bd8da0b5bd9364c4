package replica

import (
	"bytes"
	"context"
	"errors"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
	"yardhasp/replica/store"
)

// ledgerServer answers LedgerService.
type ledgerServer struct {
	servicev1.UnimplementedLedgerServiceServer
	r *Replica
}

const (
	defaultWait = 3 * time.Second
	maxWait     = 60 * time.Second
)

func wait(ms uint32) time.Duration {
	if ms == 0 {
		return defaultWait
	}
	return min(time.Duration(ms)*time.Millisecond, maxWait)
}

// journalWait is how long a receipt waits for the ledger to take a record of this
// yard's journal. While no leader is known, it is at most patience, so that the person
// soon reads that the record is only written down.
func (r *Replica) journalWait(ms uint32) time.Duration {
	if ms == 0 && r.leaderless() > 0 {
		return min(defaultWait, r.patience())
	}
	return wait(ms)
}

// Submit takes one signed record. It refuses malformed bytes before they reach any
// log.
func (s *ledgerServer) Submit(ctx context.Context, q *servicev1.SubmitRequest) (*servicev1.SubmitResponse, error) {
	e, err := s.r.checked.Decode(ledger.DirectEntry(q.GetSigned()))
	if err != nil {
		return nil, failed(err)
	}
	if f := e.Fault(); f != nil {
		return nil, fault(f)
	}
	if bad := e.Misshapen(); len(bad) > 0 {
		return nil, fault(bad...)
	}
	if !bytes.Equal(e.Record().GetLedger(), s.r.ledgerID()) {
		return nil, fault(ledger.OtherLedger.About(""))
	}
	kind := ledger.KindFor(e.Record())
	if kind.By != ledger.ByPerson {
		return nil, fault(kind.NotThisWay())
	}
	if err := s.r.room(kind); err != nil {
		return nil, err
	}
	if c := callerOf(ctx); c.yard == "" && c.person == "" {
		return nil, answer(codes.Unauthenticated, KeyNotEnrolled.About(""))
	}
	most := wait(q.GetWaitMs())
	if kind.Way == ledger.ThroughJournal {
		most = s.r.journalWait(q.GetWaitMs())
	}
	w, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	var rec *servicev1.Receipt
	if kind.Way == ledger.ThroughJournal {
		rec, err = s.r.submitJournal(w, e, kind.Name, q.GetRun())
	} else {
		rec, err = s.r.submitDirect(w, e)
	}
	if err != nil {
		return nil, err
	}
	return &servicev1.SubmitResponse{Receipt: rec}, nil
}

// submitDirect takes a record to the quorum, once. If the ledger has the ticket
// already, it returns the recorded answer.
func (r *Replica) submitDirect(ctx context.Context, e *ledger.Entry) (*servicev1.Receipt, error) {
	ref := quorum.TicketRef(e)
	if o := r.recordedAs(ref, e.Signed()); o != nil {
		return r.directReceipt(o, true)
	}
	outs, err := r.propose(ctx, [][]byte{e.Raw()})
	if err != nil {
		return nil, failed(err)
	}
	o := outs[0]
	if len(o.GetConditions()) == 1 && code.Has(o.GetConditions(), ledger.TicketRepeated) {
		// The record was taken before, and shows here only now.
		c, cancel := context.WithTimeout(ctx, r.patience())
		defer cancel()
		if r.confirm(c) == nil {
			if first := r.recordedAs(ref, e.Signed()); first != nil {
				return r.directReceipt(first, true)
			}
		}
	}
	return r.directReceipt(o, false)
}

func (r *Replica) directReceipt(o *recordv1.Outcome, repeated bool) (*servicev1.Receipt, error) {
	if !o.GetAccepted() {
		return nil, refused(o)
	}
	st := r.written(o)
	return &servicev1.Receipt{Status: st, Means: noteMeans(st, r.set.Yard, o),
		Outcome: o, Yard: r.set.Yard, ReadUnixMs: r.now().UnixMilli(), RepeatedTicket: repeated}, nil
}

// recorded finds the outcome of an entry by its ref, nil when this replica does not
// have it.
func (r *Replica) recorded(ref string) *recordv1.Outcome {
	if ref == "" {
		return nil
	}
	i, ok, err := r.history.ByRef(ref)
	if err != nil || !ok {
		return nil
	}
	raw, err := r.history.Outcome(i)
	if err != nil || len(raw) == 0 {
		return nil
	}
	var o recordv1.Outcome
	if proto.Unmarshal(raw, &o) != nil {
		return nil
	}
	return &o
}

// recordedAs is recorded for a direct entry with exactly these bytes. The same ticket
// on other bytes is another act. It never gets the first act's answer.
func (r *Replica) recordedAs(ref string, signed []byte) *recordv1.Outcome {
	o := r.recorded(ref)
	if o == nil {
		return nil
	}
	raw, err := r.history.Entry(o.GetIndex())
	var e recordv1.Entry
	if err != nil || proto.Unmarshal(raw, &e) != nil || !bytes.Equal(e.GetDirect(), signed) {
		return nil
	}
	return o
}

func (s *ledgerServer) GetBoard(ctx context.Context, q *servicev1.GetBoardRequest) (*servicev1.GetBoardResponse, error) {
	var b *recordv1.Board
	err := s.r.read(ctx, q.GetConsistency(), func(st *ledger.State, a *recordv1.AsOf) {
		if q.GetYard() != "" && st.Yards[q.GetYard()] == nil {
			return
		}
		b = st.Board(q.GetYard(), s.r.now().UnixMilli())
		b.AsOf = a
	})
	if err == nil && b == nil {
		return nil, answer(codes.NotFound, ledger.UnknownYard.About(q.GetYard(), q.GetYard()))
	}
	if b != nil && (q.GetYard() == "" || q.GetYard() == s.r.set.Yard) {
		b.WrittenHere = s.r.yard.written()
	}
	if who := s.r.outsider(ctx); who != "" && b != nil {
		b = ledger.ContractorView(b, who)
	}
	return &servicev1.GetBoardResponse{Board: b}, err
}

// JobNotHere: the state has no such job, open or closed. A job that closed long ago is
// only in the history.
var JobNotHere = code.New("JOB_NOT_HERE", code.Row{Args: "job", Next: "yardhasp job list", Answer: code.Unknown})

func (s *ledgerServer) GetJob(ctx context.Context, q *servicev1.GetJobRequest) (*servicev1.GetJobResponse, error) {
	var j *recordv1.JobView
	err := s.r.read(ctx, q.GetConsistency(), func(st *ledger.State, a *recordv1.AsOf) {
		if j = st.JobView(q.GetJob(), s.r.now().UnixMilli()); j != nil {
			j.AsOf = a
		}
	})
	if err == nil && j == nil {
		return nil, answer(codes.NotFound, JobNotHere.About(q.GetJob(), q.GetJob()))
	}
	if no := notTheirs(j, s.r.outsider(ctx)); err == nil && no != nil {
		return nil, no
	}
	return &servicev1.GetJobResponse{Job: j}, err
}

// Watch sends outcomes from an index on, as this replica applies them.
func (s *ledgerServer) Watch(q *servicev1.WatchRequest, out servicev1.LedgerService_WatchServer) error {
	next := q.GetFrom()
	who, outside := callerOf(out.Context()), s.r.outsider(out.Context())
	for {
		if !s.r.enrolled(who) {
			return answer(codes.Unauthenticated, KeyNotEnrolled.About(""))
		}
		changed := s.r.node.Changed()
		for size := s.r.history.Size(); next < size; next++ {
			raw, err := s.r.history.Outcome(next)
			switch {
			case errors.Is(err, store.ErrClosed):
				return stopping()
			case err != nil:
				s.r.unreadable(err)
				return status.Error(codes.DataLoss, err.Error())
			}
			o := &recordv1.Outcome{Index: next}
			if len(raw) > 0 {
				if err := proto.Unmarshal(raw, o); err != nil {
					return status.Error(codes.DataLoss, err.Error())
				}
			}
			if err := out.Send(&servicev1.WatchResponse{Outcome: outcomeFor(o, outside)}); err != nil {
				return err
			}
		}
		// The history is written shortly after the state changes, so look again soon.
		t := time.NewTimer(200 * time.Millisecond)
		select {
		case <-changed:
		case <-t.C:
		case <-s.r.ctx.Done():
			t.Stop()
			return stopping()
		case <-out.Context().Done():
			t.Stop()
			return out.Context().Err()
		}
		t.Stop()
	}
}

func (s *ledgerServer) GetDrawing(ctx context.Context, q *servicev1.GetDrawingRequest) (*servicev1.GetDrawingResponse, error) {
	var res *servicev1.GetDrawingResponse
	err := s.r.read(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, func(st *ledger.State, a *recordv1.AsOf) {
		if d := st.Drawings[q.GetYard()]; d != nil {
			res = &servicev1.GetDrawingResponse{Drawing: d.Bytes, WalkedBy: d.Walked.By, WalkedUnixMs: d.Walked.Time, AsOf: a}
		}
	})
	if err == nil && res == nil {
		return nil, answer(codes.NotFound, ledger.UnknownDrawing.About(q.GetYard(), q.GetYard()))
	}
	return res, err
}

// Export sends the leaves unchanged.
func (s *ledgerServer) Export(q *servicev1.ExportRequest, out servicev1.LedgerService_ExportServer) error {
	to := q.GetTo()
	if size := s.r.history.Size(); to == 0 || to > size {
		to = size
	}
	who := s.r.outsider(out.Context())
	for i := q.GetFrom(); i < to; i++ {
		if s.r.ctx.Err() != nil {
			return stopping()
		}
		e, err := s.r.history.Entry(i)
		if err != nil {
			s.r.unreadable(err)
			return status.Error(codes.DataLoss, err.Error())
		}
		if no := leafFor(i, e, who); no != nil {
			return no
		}
		if err := out.Send(&servicev1.ExportResponse{Index: i, Entry: e}); err != nil {
			return err
		}
	}
	return nil
}

// GetReceipt says what became of a ticket, of a record in this yard's journal or of a
// direct entry.
func (s *ledgerServer) GetReceipt(ctx context.Context, q *servicev1.GetReceiptRequest) (*servicev1.GetReceiptResponse, error) {
	w, cancel := context.WithTimeout(ctx, s.r.journalWait(q.GetWaitMs()))
	defer cancel()
	rec, err := s.r.receiptOf(w, q.GetKey(), q.GetDevice(), q.GetCounter())
	if err != nil {
		return nil, err
	}
	return &servicev1.GetReceiptResponse{Receipt: rec}, nil
}
