package code

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// About makes the finding: first what it is about, then the arguments in the order of
// the code's row. An argument of names takes a string or a []string (an empty string is
// no name). time and number take an integer, text and word a string, why a finding or a
// list of findings. A value that does not fit its row is a mistake in the program. It is
// left out here, because nothing may stop on what a record holds. Check reports it to
// the tests.
func (c Code) About(subject string, args ...any) *recordv1.Finding {
	f := &recordv1.Finding{Code: string(c), Subject: subject}
	for i, p := range rows[c].params() {
		if i == len(args) {
			break
		}
		f.Args = append(f.Args, p.fill(args[i]))
	}
	return f
}

func (p param) fill(v any) *recordv1.Arg {
	a := &recordv1.Arg{Name: p.name, Kind: p.kind}
	switch v := v.(type) {
	case string:
		switch p.kind {
		case recordv1.ArgKind_ARG_KIND_NAMES:
			if v != "" {
				a.Names = []string{v}
			}
		case recordv1.ArgKind_ARG_KIND_TEXT, recordv1.ArgKind_ARG_KIND_WORD:
			a.Text = v
		default:
			a.Kind = 0
		}
	case []string:
		for _, n := range v {
			if n != "" {
				a.Names = append(a.Names, n)
			}
		}
		if p.kind != recordv1.ArgKind_ARG_KIND_NAMES {
			a.Kind = 0
		}
	case *recordv1.Finding:
		if v != nil {
			a.Findings = []*recordv1.Finding{v}
		}
		if p.kind != recordv1.ArgKind_ARG_KIND_FINDINGS {
			a.Kind = 0
		}
	case []*recordv1.Finding:
		a.Findings = append([]*recordv1.Finding{}, v...)
		if p.kind != recordv1.ArgKind_ARG_KIND_FINDINGS {
			a.Kind = 0
		}
	default:
		n, ok := whole(v)
		switch {
		case ok && p.kind == recordv1.ArgKind_ARG_KIND_TIME:
			a.TimeUnixMs = n
		case ok && p.kind == recordv1.ArgKind_ARG_KIND_NUMBER:
			a.Number = n
		default:
			a.Kind = 0
		}
	}
	return a
}

func whole(v any) (int64, bool) {
	switch v := v.(type) {
	case int:
		return int64(v), true
	case int32:
		return int64(v), true
	case int64:
		return v, true
	case uint32:
		return int64(v), true
	case uint64:
		return int64(v), true
	}
	return 0, false
}

// Check says what is wrong with a finding: a code without a row, or arguments that are
// not those of the row. It is nil if nothing is. Tests call it on everything that the
// rules say.
func Check(f *recordv1.Finding) error {
	r, ok := Of(f).Row()
	if !ok {
		return fmt.Errorf("code %q has no row", f.GetCode())
	}
	want := r.params()
	if len(want) != len(f.GetArgs()) {
		return fmt.Errorf("%s has %d arguments, its row names %d: %q", f.GetCode(), len(f.GetArgs()), len(want), r.Args)
	}
	for i, a := range f.GetArgs() {
		if a.GetName() != want[i].name || a.GetKind() != want[i].kind {
			return fmt.Errorf("%s: argument %d is %s of kind %s, its row names %s of kind %s", f.GetCode(), i+1, a.GetName(), a.GetKind(), want[i].name, want[i].kind)
		}
		for _, g := range a.GetFindings() {
			if err := Check(g); err != nil {
				return fmt.Errorf("%s, in %s: %w", f.GetCode(), a.GetName(), err)
			}
		}
	}
	return nil
}
