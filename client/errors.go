package client

import (
	"errors"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client/words"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Reasons a replica gives in google.rpc.ErrorInfo, that a client goes by. Any other
// reason is the code of the finding beside it.
var (
	// ReasonNotHome: another yard is home; its id is the metadata "yard".
	ReasonNotHome = code.New("NOT_HOME", code.Row{Args: "yard", Who: "the-signer"})
	// ReasonNoQuorum: too few yards can be heard to change the ledger.
	ReasonNoQuorum = code.New("NO_QUORUM", code.Row{})
	// ReasonOutcomeUnknown: the replica doesn't know whether the ledger has it.
	ReasonOutcomeUnknown = code.New("OUTCOME_UNKNOWN", code.Row{})
	// ReasonNotServing: the replica can't promise anything now and took nothing.
	ReasonNotServing = code.New("NOT_SERVING", code.Row{Args: "yard because:why"})
	// ReasonNewerRelease: the record or the ledger is of a newer release.
	ReasonNewerRelease = code.New("NEWER_RELEASE", code.Row{Args: "error:text"})
)

// Refused is a record that the rules refused: Outcome lists each unmet condition.
type Refused struct{ Outcome *recordv1.Outcome }

func (e *Refused) Error() string {
	var texts []string
	for _, c := range e.Outcome.GetConditions() {
		texts = append(texts, words.English.Says(c))
	}
	return "refused: " + strings.Join(texts, "; ")
}

// Has reports whether one of the unmet conditions has one of the codes.
func (e *Refused) Has(codes ...code.Code) bool { return code.Has(e.Outcome.GetConditions(), codes...) }

// UnknownOutcome is a record that was sent and not answered. It may or may not be
// recorded. Nobody knows until its receipt is read.
type UnknownOutcome struct {
	Ticket *recordv1.Ticket
	// Yard is the yard that may have it.
	Yard string
	Err  error
}

func (e *UnknownOutcome) Error() string {
	return fmt.Sprintf("no answer from %s: treat it as not recorded; ask again with %q", e.Yard, e.Command())
}

// Command is the command that asks for the receipt.
func (e *UnknownOutcome) Command() string {
	return fmt.Sprintf("yardhasp receipt %d --device %s --yard %s", e.Ticket.GetCounter(), e.Ticket.GetDevice(), e.Yard)
}

func (e *UnknownOutcome) Unwrap() error { return e.Err }

// Attempt is one yard that was asked, and what came of it.
type Attempt struct {
	Yard string
	Err  error
}

// Unreachable means that no yard took the record or answered. Certainly nothing was
// recorded.
type Unreachable struct{ Tried []Attempt }

func (e *Unreachable) Error() string {
	if len(e.Tried) == 0 {
		return "no yard to ask: name one in the profile"
	}
	var texts []string
	for _, a := range e.Tried {
		texts = append(texts, a.Yard+": "+Plain(a.Err))
	}
	return "no yard could answer: " + strings.Join(texts, "; ")
}

// Unwrap gives the error of each yard.
func (e *Unreachable) Unwrap() []error {
	var errs []error
	for _, a := range e.Tried {
		errs = append(errs, a.Err)
	}
	return errs
}

// Answer is an error that a replica answered with.
type Answer struct {
	Yard string
	Code codes.Code
	// Reason is one of the Reasons, another code, or empty.
	Reason code.Code
	// Home is the home yard, with ReasonNotHome.
	Home string
	// Because is what the yard says; nil: Text is all there is.
	Because *recordv1.Finding
	// Text is the same in words.
	Text string
	// Fields are the bad fields of a drawing or a request, each with path and reason.
	Fields []Field
}

// Field is one bad field, such as "links[3].from".
type Field struct{ Path, Text string }

func (e *Answer) Error() string { return e.Yard + ": " + e.Text }

// notConnected is a yard to which no connection could be made. It received nothing.
type notConnected struct{ err error }

func (e *notConnected) Error() string { return "no connection: " + Plain(e.err) }
func (e *notConnected) Unwrap() error { return e.err }

// Plain is an error's text without the transport's wrapping.
func Plain(err error) string {
	if err == nil {
		return "no answer"
	}
	var answer *Answer
	if errors.As(err, &answer) {
		return answer.Text
	}
	if s, ok := status.FromError(err); ok && s.Message() != "" {
		return s.Message()
	}
	return err.Error()
}

// decode turns a yard's answer into a Refused or an Answer. An error that is not an
// answer, such as a lost connection or a deadline, stays as it is.
func decode(yard string, err error) error {
	s, ok := status.FromError(err)
	if !ok || s.Code() == codes.OK {
		return err
	}
	a := &Answer{Yard: yard, Code: s.Code(), Text: s.Message()}
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *recordv1.Outcome:
			if !d.GetAccepted() && len(d.GetConditions()) > 0 {
				return &Refused{d}
			}
		case *recordv1.Finding:
			a.Because, a.Text = d, inWords(d)
		case *errdetails.ErrorInfo:
			a.Reason, a.Home = code.Code(d.GetReason()), d.GetMetadata()["yard"]
		case *errdetails.BadRequest:
			for _, f := range d.GetFieldViolations() {
				a.Fields = append(a.Fields, Field{f.GetField(), f.GetDescription()})
			}
		}
	}
	if a.Reason == "" && mayBeLost(s.Code()) {
		return err
	}
	return a
}

// inWords is what a yard says, and what would help.
func inWords(f *recordv1.Finding) string {
	says := words.English.Says(f)
	if remedy := words.English.Remedy(f); remedy != "" {
		says += ": " + remedy
	}
	return says
}

// mayBeLost are the codes that gRPC itself gives when an answer gets lost: the
// other side may have done its work.
func mayBeLost(c codes.Code) bool {
	switch c {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled, codes.Unknown, codes.Internal, codes.Aborted:
		return true
	}
	return false
}
