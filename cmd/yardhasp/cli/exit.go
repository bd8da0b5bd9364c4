package cli

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"

	"yardhasp/client"
	"yardhasp/client/token"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// These exit codes are a contract: see "yardhasp help exit-codes".
const (
	exitOK          = 0
	exitFailure     = 1
	exitUsage       = 2
	exitRefused     = 3
	exitNotFound    = 4
	exitUnreachable = 5
	exitUnknown     = 6
	exitTampered    = 7
	exitNotSent     = 8
	exitInterrupted = 130
)

// usageError is a command line that cannot be understood.
type usageError struct{ text, command string }

func (e *usageError) Error() string { return e.text }

func usage(c *cobra.Command, format string, a ...any) error {
	return &usageError{fmt.Sprintf(format, a...), c.CommandPath()}
}

// hinted is an error together with what to do about it.
type hinted struct {
	err   error
	hints []string
}

func (e *hinted) Error() string { return e.err.Error() }
func (e *hinted) Unwrap() error { return e.err }

// errNotSent ends a command whose record is on this machine only.
var errNotSent = errors.New("not sent: kept on this machine only; nobody else knows")

func exitCode(err error) int {
	var use *usageError
	var refused *client.Refused
	var unknown *client.UnknownOutcome
	var nobody *client.Unreachable
	var tampered *client.Tampered
	var answer *client.Answer
	var none *notFound
	switch {
	case errors.As(err, &use):
		return exitUsage
	case errors.As(err, &none):
		return exitNotFound
	case errors.Is(err, errNotSent):
		return exitNotSent
	case errors.As(err, &tampered), errors.Is(err, token.ErrChanged), errors.Is(err, token.ErrCutOff):
		return exitTampered
	case errors.As(err, &unknown):
		return exitUnknown
	case errors.As(err, &refused) && slices.ContainsFunc(refused.Outcome.GetConditions(), func(f *recordv1.Finding) bool { return answerOf(f) == code.NotSigned }):
		return exitTampered
	case errors.As(err, &refused) && allUnknown(refused.Outcome):
		return exitNotFound
	case errors.As(err, &refused):
		return exitRefused
	case errors.As(err, &nobody):
		return exitUnreachable
	case errors.As(err, &answer) && answer.Code == codes.NotFound:
		return exitNotFound
	case errors.As(err, &answer) && (answer.Reason == client.ReasonNoQuorum || answer.Reason == client.ReasonNotServing):
		return exitUnreachable
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	}
	return exitFailure
}

// allUnknown reports whether a refusal names only things that the ledger does not have.
func allUnknown(o *recordv1.Outcome) bool {
	for _, c := range o.GetConditions() {
		if answerOf(c) != code.Unknown {
			return false
		}
	}
	return len(o.GetConditions()) > 0
}

// answerOf is how the row of a finding's code says that its caller is answered. A
// code of a newer release is a condition that is not met.
func answerOf(f *recordv1.Finding) code.Answer {
	r, _ := code.Of(f).Row()
	return r.Answer
}

func (a *App) errorf(format string, v ...any) {
	fmt.Fprintf(a.Err, "%s %s\n", a.loud("error:"), fmt.Sprintf(format, v...))
}
func (a *App) hintf(format string, v ...any) { fmt.Fprintf(a.Err, "hint: "+format+"\n", v...) }
func (a *App) warnf(format string, v ...any) { fmt.Fprintf(a.Err, "warning: "+format+"\n", v...) }

// fail prints an error and what to do next.
func (a *App) fail(err error) {
	var use *usageError
	var refused *client.Refused
	var unknown *client.UnknownOutcome
	var nobody *client.Unreachable
	var answer *client.Answer
	switch {
	case errors.As(err, &use):
		a.errorf("%s", use.text)
		a.hintf("run \"%s --help\"", use.command)
	case errors.As(err, &refused):
		a.refusal(refused.Outcome)
	case errors.As(err, &unknown):
		a.errorf("no answer from %s: treat it as not recorded", unknown.Yard)
		a.hintf("ask again with \"%s\"; don't enter it a second time before you know", unknown.Command())
	case errors.As(err, &nobody):
		a.errorf("%s", nobody.Error())
		a.hintf("nothing was recorded; see the last board read here with \"yardhasp board --offline\", and do a person-to-person check")
	case errors.As(err, &answer) && answer.Reason == client.ReasonNewerRelease:
		a.errorf("%s", answer.Error())
		a.hintf("upgrade this program")
	default:
		a.errorf("%s", err.Error())
	}
	var h *hinted
	for errors.As(err, &h) {
		for _, t := range h.hints {
			a.hintf("%s", t)
		}
		err = h.err
	}
}

// actWord is what people call an act. Its command has the same name.
func actWord(kind string) string {
	if k := ledger.KindNamed(kind); k != nil {
		return k.Called
	}
	return kind
}

// refusal lists every unmet condition: what, remedy, who and clause.
func (a *App) refusal(out *recordv1.Outcome) {
	a.errorf("refused: %s", actWord(out.GetKind()))
	fmt.Fprint(a.Err, a.conditionsText(out.GetConditions()))
	if k := ledger.KindNamed(out.GetKind()); k != nil && k.Class == ledger.Lifts {
		a.hintf("nothing was changed; meet every condition above, then do it again")
	} else {
		a.hintf("NOT RECORDED, nobody counts on it: put right what is listed above, then record it again")
	}
}
