package yard

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// NotServing means that this yard's machine can promise nothing now. The signed
// bytes may wait in an outbox if their kind allows it (decisions.md 15).
type NotServing struct{ Why string }

func (e *NotServing) Error() string {
	return "this yard's machine is out of service: " + e.Why + ": do a person-to-person check"
}

// Refused means that the record was not written down, and why.
type Refused struct{ Conditions []*recordv1.Finding }

func (e *Refused) Error() string {
	var out []string
	for _, c := range e.Conditions {
		out = append(out, c.GetCode()+" "+c.GetSubject())
	}
	return "not written down: " + strings.Join(out, "; ")
}

// Has reports whether a condition with this code is among the unmet ones.
func (e *Refused) Has(code string) bool {
	for _, c := range e.Conditions {
		if c.GetCode() == code {
			return true
		}
	}
	return false
}

func refuse(code, subject, text, remedy, who string) error {
	return &Refused{[]*recordv1.Finding{{Code: code, Subject: subject, Text: text, Remedy: remedy, Who: who}}}
}

// ShortenedError means that the journal on the disk is not what was promised on:
// something acknowledged is missing or changed. The yard must not promise,
// attest or vote on it; it is the loss of a disk (decisions.md 7).
type ShortenedError struct {
	Path string
	Why  string
}

func (e *ShortenedError) Error() string {
	return fmt.Sprintf("the journal %s is damaged: %s: treat it as a lost disk and recover the yard with a walkdown", e.Path, e.Why)
}
