// Package code is how the rules say something: a typed code with named arguments.
//
// Each code has one row, written by New in the file of its subject. The row names the
// arguments in order, the clause of the rule, who can supply what is missing, and the
// command that records it. The sentences that people read are made from code and
// arguments in one catalogue (client/words), and nowhere else.
package code

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Code names one thing that a rule can say. Two meanings never share a code.
type Code string

// Answer says how a service answers its caller when a refusal has this code.
type Answer int

const (
	// NotMet: a condition is not met. The zero value, for most codes.
	NotMet Answer = iota
	// Unknown: the record names something that the ledger does not have.
	Unknown
	// Malformed: the record itself is wrong.
	Malformed
	// NotSigned: a signature is missing, wrong, or by a revoked key.
	NotSigned
	// Denied: this person may not do it.
	Denied
	// Taken: it was done before, or the name is already in use.
	Taken
)

// Row says what belongs to a code.
type Row struct {
	// Args are the names of its arguments, in order, separated by spaces. A name that
	// ends in ":time", ":number", ":text", ":word" or ":why" has that kind (why: other
	// findings). Any other argument takes names: people, points, jobs, references.
	Args string
	// Clause is where the rule comes from, or "" for a rule of our own. An argument
	// called clause takes its place.
	Clause string
	// Who can supply what is missing: a catalogue word such as "a-qualified-person", or
	// an argument in braces such as "{holder}". It is "" for nobody.
	Who string
	// Next is the command that records what is missing, with arguments in braces, such
	// as "yardhasp release {lock}". It is "" if there is no command.
	Next string
	// Answer says how the caller is answered.
	Answer Answer
}

var rows = map[Code]Row{}

// New adds the row of a code. A name that is used twice, or a row that cannot be read,
// is a mistake in the program and stops it at its start.
func New(name string, r Row) Code {
	c := Code(name)
	if _, twice := rows[c]; twice {
		panic("code " + name + " has two rows")
	}
	for _, p := range r.params() {
		if p.kind == recordv1.ArgKind_ARG_KIND_UNSPECIFIED {
			panic(fmt.Sprintf("code %s: argument %s has a kind that is not known", name, p.name))
		}
	}
	rows[c] = r
	return c
}

// Codes lists every code, sorted.
func Codes() []Code { return slices.Sorted(maps.Keys(rows)) }

// Row returns the row of a code. It returns false if there is none, as for a code of a
// newer release.
func (c Code) Row() (Row, bool) {
	r, ok := rows[c]
	return r, ok
}

// Of is the code of a finding.
func Of(f *recordv1.Finding) Code { return Code(f.GetCode()) }

// Is reports whether a finding has one of the codes.
func Is(f *recordv1.Finding, codes ...Code) bool { return slices.Contains(codes, Of(f)) }

// Has reports whether any of the findings has one of the codes.
func Has(fs []*recordv1.Finding, codes ...Code) bool {
	return slices.ContainsFunc(fs, func(f *recordv1.Finding) bool { return Is(f, codes...) })
}

// ClauseOf is the clause that a finding comes from, or "".
func ClauseOf(f *recordv1.Finding) string {
	for _, a := range f.GetArgs() {
		if a.GetName() == "clause" {
			return a.GetText()
		}
	}
	return rows[Of(f)].Clause
}

// Names are the values of an argument that takes names. It is nil if there are none.
func Names(f *recordv1.Finding, arg string) []string {
	for _, a := range f.GetArgs() {
		if a.GetName() == arg {
			return a.GetNames()
		}
	}
	return nil
}

// param is one argument that a row names.
type param struct {
	name string
	kind recordv1.ArgKind
}

var kinds = map[string]recordv1.ArgKind{
	"": recordv1.ArgKind_ARG_KIND_NAMES, "time": recordv1.ArgKind_ARG_KIND_TIME, "number": recordv1.ArgKind_ARG_KIND_NUMBER,
	"text": recordv1.ArgKind_ARG_KIND_TEXT, "word": recordv1.ArgKind_ARG_KIND_WORD, "why": recordv1.ArgKind_ARG_KIND_FINDINGS,
}

func (r Row) params() []param {
	var out []param
	for _, f := range strings.Fields(r.Args) {
		name, kind, _ := strings.Cut(f, ":")
		if name == "clause" {
			kind = "text"
		}
		out = append(out, param{name, kinds[kind]})
	}
	return out
}

// Params are the names of a row's arguments, in order.
func (r Row) Params() []string {
	var out []string
	for _, p := range r.params() {
		out = append(out, p.name)
	}
	return out
}

// Brief is a finding as a log line or an error of a program has it: its code, what it is
// about, and the same of its reasons. People read client/words instead.
func Brief(f *recordv1.Finding) string {
	out := strings.TrimSpace(f.GetCode() + " " + f.GetSubject())
	for _, a := range f.GetArgs() {
		for _, why := range a.GetFindings() {
			out += ": " + Brief(why)
		}
	}
	return out
}
