package replica

import (
	"context"
	"errors"
	"strings"

	"github.com/hashicorp/raft"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/quorum"
)

const errorDomain = "yardhasp"

// refused turns a refused outcome into a status. Every condition becomes a
// PreconditionFailure violation, and the whole outcome goes with it. The words are
// made only where people read them.
func refused(o *recordv1.Outcome) error {
	pf := &errdetails.PreconditionFailure{}
	var said []string
	reason := "REFUSED"
	for i, c := range o.GetConditions() {
		if i == 0 {
			reason = c.GetCode()
		}
		said = append(said, code.Brief(c))
		pf.Violations = append(pf.Violations, &errdetails.PreconditionFailure_Violation{Type: c.GetCode(), Subject: c.GetSubject()})
	}
	return detailed(answerFor(o.GetConditions()), strings.Join(said, "; "), reason, nil, pf, o)
}

var answers = map[code.Answer]codes.Code{
	code.Malformed: codes.InvalidArgument, code.NotSigned: codes.Unauthenticated, code.Denied: codes.PermissionDenied, code.Taken: codes.AlreadyExists,
}

// answerFor is the status code of a refusal. It is NOT_FOUND when every condition
// names something unknown. Otherwise the first condition that asks for another code
// than FAILED_PRECONDITION decides.
func answerFor(unmet []*recordv1.Finding) codes.Code {
	unknown := len(unmet) > 0
	answer := codes.FailedPrecondition
	for _, c := range unmet {
		row, _ := code.Of(c).Row()
		unknown = unknown && row.Answer == code.Unknown
		if a, ok := answers[row.Answer]; ok && answer == codes.FailedPrecondition {
			answer = a
		}
	}
	if unknown {
		return codes.NotFound
	}
	return answer
}

// answer is an error for a person to read. It carries the finding, and the finding's
// code as its reason.
func answer(c codes.Code, f *recordv1.Finding) error {
	return detailed(c, code.Brief(f), f.GetCode(), nil, f)
}

func detailed(code codes.Code, msg, reason string, meta map[string]string, more ...protoadapt.MessageV1) error {
	st := status.New(code, msg)
	all := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: errorDomain, Metadata: meta}}, more...)
	if d, err := st.WithDetails(all...); err == nil {
		st = d
	}
	return st.Err()
}

// fault refuses bytes that can never be a record. None of them reaches the log.
func fault(cs ...*recordv1.Finding) error {
	return refused(&recordv1.Outcome{Conditions: cs})
}

// failed turns an error of the quorum into a status.
func failed(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, quorum.ErrUnknownOutcome):
		return answer(codes.Aborted, client.ReasonOutcomeUnknown.About(""))
	case errors.Is(err, quorum.ErrNotLeader), errors.Is(err, quorum.ErrNoQuorum), errors.Is(err, context.DeadlineExceeded):
		return answer(codes.Unavailable, client.ReasonNoQuorum.About(""))
	case errors.Is(err, raft.ErrRaftShutdown):
		return stopping()
	case errors.Is(err, ledger.ErrNewer):
		return answer(codes.InvalidArgument, client.ReasonNewerRelease.About("", err.Error()))
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	return status.Error(codes.Internal, err.Error())
}

func stopping() error { return status.Error(codes.Unavailable, "this replica is stopping") }
