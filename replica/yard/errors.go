package yard

import (
	"fmt"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// NotServing means that this yard's machine can promise nothing now. The signed bytes
// may wait in an outbox if their kind allows it (decisions.md 15).
type NotServing struct{ Because *recordv1.Finding }

func (e *NotServing) Error() string {
	return "this yard's machine is out of service: " + code.Brief(e.Because) + ": do a person-to-person check"
}

// Refused means that the record was not written down. Conditions say why.
type Refused struct{ Conditions []*recordv1.Finding }

func (e *Refused) Error() string {
	var out []string
	for _, c := range e.Conditions {
		out = append(out, code.Brief(c))
	}
	return "not written down: " + strings.Join(out, "; ")
}

// Has reports whether a condition with one of the codes is unmet.
func (e *Refused) Has(codes ...code.Code) bool { return code.Has(e.Conditions, codes...) }

// refuse is the refusal for one condition.
func refuse(unmet *recordv1.Finding) error { return &Refused{[]*recordv1.Finding{unmet}} }

// ShortenedError means that the journal on the disk is not the one that promises were
// made on: an acknowledged record is missing or changed. The yard must not promise,
// attest or vote on it. It counts as the loss of a disk (decisions.md 7).
type ShortenedError struct {
	Path string
	Why  string
}

func (e *ShortenedError) Error() string {
	return fmt.Sprintf("the journal %s is damaged: %s: treat it as a lost disk and recover the yard with a walkdown", e.Path, e.Why)
}
