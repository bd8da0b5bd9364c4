package replica

import (
	"context"

	"google.golang.org/grpc/codes"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// What a contractor of another employer may not read.
var (
	NotYourJob      = code.New("NOT_YOUR_JOB", code.Row{Args: "job person", Who: "{person}", Answer: code.Denied})
	HistoryNotYours = code.New("HISTORY_NOT_YOURS", code.Row{Args: "person", Who: "supervisor", Answer: code.Denied})
)

// outsider names the caller if they are a contractor of another employer. It is "" for
// the co-op's own people and for yards.
func (r *Replica) outsider(ctx context.Context) string {
	who := callerOf(ctx).person
	if who == "" {
		return ""
	}
	r.node.View(func(s *ledger.State, _ uint64) {
		if !s.Outsider(who) {
			who = ""
		}
	})
	return who
}

// notTheirs refuses a job that an outsider has no part in.
func notTheirs(j *recordv1.JobView, who string) error {
	if who == "" || j == nil || ledger.Concerns(j, who) {
		return nil
	}
	return answer(codes.PermissionDenied, NotYourJob.About(j.GetId(), j.GetId(), j.GetResponsible()))
}

// outcomeFor cuts an outcome that an outsider may not read down to its index. So their
// watch still has no gap.
func outcomeFor(o *recordv1.Outcome, who string) *recordv1.Outcome {
	if who == "" || o.GetSigner() == who {
		return o
	}
	return &recordv1.Outcome{Index: o.GetIndex()}
}

// leafFor refuses a leaf that an outsider may not read. They may read the founding
// record, what they signed, and the written procedures.
func leafFor(index uint64, leaf []byte, who string) error {
	if who == "" || index == 0 {
		return nil
	}
	if e, err := ledger.Decode(leaf); err == nil {
		if rec := e.Record(); rec.GetSigner() == who || rec.GetPublishProcedure() != nil {
			return nil
		}
	}
	return answer(codes.PermissionDenied, HistoryNotYours.About(who, who))
}
