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

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/quorum"
)

const errorDomain = "yardhasp"

// notFound lists the condition codes that mean "no such thing".
var notFound = map[string]bool{"UNKNOWN_POINT": true, "UNKNOWN_JOB": true, "UNKNOWN_HOLD": true, "UNKNOWN_REQUEST": true, "UNKNOWN_PERSON": true,
	"UNKNOWN_YARD": true, "UNKNOWN_ZONE": true, "UNKNOWN_SIGN_ON": true, "UNKNOWN_INVITATION": true, "UNKNOWN_DRAWING": true, "UNKNOWN_KEY": true}

// refused turns a refused outcome into a status: every condition as a
// PreconditionFailure violation, and the whole outcome beside it.
func refused(o *recordv1.Outcome) error {
	code := codes.FailedPrecondition
	pf := &errdetails.PreconditionFailure{}
	var texts []string
	allUnknown := true
	for _, c := range o.GetConditions() {
		texts = append(texts, words.English.Says(c))
		pf.Violations = append(pf.Violations, &errdetails.PreconditionFailure_Violation{Type: c.GetCode(), Subject: c.GetSubject(), Description: words.English.Says(c)})
		allUnknown = allUnknown && notFound[c.GetCode()]
		switch c.GetCode() {
		case "MALFORMED":
			code = codes.InvalidArgument
		case "BAD_SIGNATURE", "NOT_THE_SIGNER", "KEY_REVOKED":
			code = codes.Unauthenticated
		case "NOT_PERMITTED", "NOT_YOUR_LOCK", "NOT_YOUR_SIGN_ON", "NOT_YOURS":
			code = codes.PermissionDenied
		case "EXISTS", "TICKET_REPEATED":
			code = codes.AlreadyExists
		}
	}
	if allUnknown && len(texts) > 0 {
		code = codes.NotFound
	}
	reason := "REFUSED"
	if len(o.GetConditions()) > 0 {
		reason = o.GetConditions()[0].GetCode()
	}
	return detailed(code, strings.Join(texts, "; "), reason, nil, pf, o)
}

func detailed(code codes.Code, msg, reason string, meta map[string]string, more ...protoadapt.MessageV1) error {
	st := status.New(code, msg)
	all := append([]protoadapt.MessageV1{&errdetails.ErrorInfo{Reason: reason, Domain: errorDomain, Metadata: meta}}, more...)
	if d, err := st.WithDetails(all...); err == nil {
		st = d
	}
	return st.Err()
}

// fault refuses bytes that can never be a record; nothing of it reaches the log.
func fault(cs ...*recordv1.Finding) error {
	return refused(&recordv1.Outcome{Conditions: cs})
}

// failed turns an error of the quorum into a status.
func failed(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, quorum.ErrUnknownOutcome):
		return detailed(codes.Aborted, err.Error()+": ask for its receipt with the same ticket", "OUTCOME_UNKNOWN", nil)
	case errors.Is(err, quorum.ErrNotLeader), errors.Is(err, quorum.ErrNoQuorum), errors.Is(err, context.DeadlineExceeded):
		return detailed(codes.Unavailable, quorum.ErrNoQuorum.Error()+": nothing is approved, started or read as confirmed until they do", "NO_QUORUM", nil)
	case errors.Is(err, raft.ErrRaftShutdown):
		return stopping()
	case errors.Is(err, ledger.ErrNewer):
		return detailed(codes.InvalidArgument, err.Error(), "NEWER_RELEASE", nil)
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	return status.Error(codes.Internal, err.Error())
}

func stopping() error { return status.Error(codes.Unavailable, "this replica is stopping") }
