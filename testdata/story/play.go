package story

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Mark is a moment of a ledger: how many entries it had, and the time.
type Mark struct {
	Size uint64
	Time int64
}

// World is where a story is played.
type World interface {
	Context
	// Given brings the world to where a story begins, and names what it made there.
	Given(word string) (names map[string]string, err error)
	// Pass lets time go by.
	Pass(d time.Duration) error
	Mark() (Mark, error)
	// Do has a person sign an act and sends it.
	Do(a *Act) (Answer, error)
	// Sign has it signed and kept; Send sends what Sign gave.
	Sign(a *Act) (signed any, err error)
	Send(a *Act, signed any) (Answer, error)
	// Confirm is the word of a yard for a request; "every" asks each yard concerned.
	// Behind, unless nil, is how much of the ledger the yard had seen.
	Confirm(yard, request string, behind *uint64) ([]Answer, error)
	// Ask answers a line that is no act: "work boot-1".
	Ask(what string, args []string) (Answer, error)
	// Proofs are the readings that a job's plan asks for.
	Proofs(job string) ([]*recordv1.Reading, error)
	// Drawing is a copy of a yard's present drawing.
	Drawing(yard string) (*recordv1.Drawing, error)
}

// Act is one act of one person.
type Act struct {
	Place, Text string
	Signer      string
	// Record has the act alone; who signed it, for which ledger and when is the
	// world's. It is nil for Send.
	Record *recordv1.Record
	// At is the yard whose journal it goes through; empty: wherever it belongs.
	At string
	// Behind, unless nil, is how much of the ledger that yard had seen.
	Behind *uint64
	// Captured, unless 0, is the signer's clock.
	Captured int64
	// Ago is how long ago the yard wrote it down.
	Ago time.Duration
	// SignedBy names the keys that sign it; none: whoever the contract asks for.
	SignedBy []string
	Grant    recordv1.Grant
	Promised []string
}

// Answer is what came of an act, or of a question.
type Answer struct {
	Accepted bool
	// Ref is the place of the record in a journal.
	Ref               string
	Conditions, Flags []Finding
	// Says answers a question: "on", "may start".
	Says string
}

// Finding is a code and what it is about.
type Finding struct{ Code, Subject string }

func (f Finding) String() string { return strings.TrimSpace(f.Code + " " + f.Subject) }

// Taken is the answer of a ledger.
func Taken(o *recordv1.Outcome) Answer {
	return Answer{Accepted: o.GetAccepted(), Ref: o.GetRef(), Conditions: Missing(o.GetConditions()), Flags: Missing(o.GetFlags())}
}

// Missing are the codes of conditions, and those of why each of them is so.
func Missing(cs []*recordv1.Finding) []Finding {
	var out []Finding
	for _, c := range cs {
		out = append(out, Finding{c.GetCode(), c.GetSubject()})
		for _, a := range c.GetArgs() {
			out = append(out, Missing(a.GetFindings())...)
		}
	}
	return out
}

// Word is an enum's value as stories write it: REQUEST_STATE_DONE of RequestState
// is "done".
func Word(e interface{ String() string }, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(e.String(), prefix), "_", " "))
}

// T is what playing needs of a test.
type T interface {
	Helper()
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// Waiter is a world in which things come about by and by: what a line asks may be
// so a little later.
type Waiter interface {
	// Until looks again and again, for as long as the world thinks right.
	Until(so func() bool)
}

// Knower is a world that knows every code there is. A story there may expect no other:
// that a code is not there, when none of that name exists, says nothing.
type Knower interface {
	Known(code string) bool
}

// playing is a story under way.
type playing struct {
	w    World
	r    *reader
	kept map[string]any
}

// Play plays a story. An act that ends otherwise than expected ends the story; a
// question answered otherwise does not.
func Play(t T, w World, s Story) {
	t.Helper()
	p := &playing{w: w, kept: map[string]any{}, r: &reader{ctx: w, file: s.file, names: map[string]string{}, marks: map[string]Mark{}}}
	for i := range s.Steps {
		st := &s.Steps[i]
		p.r.place = st.Place
		bad, err := "", p.known(st)
		if err == nil {
			bad, err = p.step(st)
		}
		switch {
		case err != nil:
			t.Fatalf("%s: %s\n\t%v", st.Place, st.Text, err)
		case bad != "" && s.file.known(st.verb):
			t.Fatalf("%s: %s\n\t%s", st.Place, st.Text, bad)
		case bad != "":
			t.Errorf("%s: %s\n\t%s", st.Place, st.Text, bad)
		}
	}
}

// known says which expected code does not exist.
func (p *playing) known(st *Step) error {
	w, ok := p.w.(Knower)
	if !ok || st.want == nil {
		return nil
	}
	for _, c := range st.want.codes {
		if !w.Known(c.code) {
			return fault(st.Place, "there is no code %s", c.code)
		}
	}
	return nil
}

// step plays one line and says what came out otherwise than expected.
func (p *playing) step(st *Step) (bad string, err error) {
	var words []string
	for _, a := range st.args {
		if a.msg != nil || a.list != nil {
			words = nil
			break
		}
		words = append(words, p.r.named(a))
	}
	quiet := func(n int, write string) error {
		switch {
		case st.want != nil:
			return fault(st.Place, "%s expects nothing", st.verb)
		case len(words) != n || len(st.fields) > 0:
			return fault(st.Place, "write %s", write)
		}
		return nil
	}
	switch {
	case st.verb == "given":
		if err := quiet(1, "given WORD"); err != nil {
			return "", err
		}
		names, err := p.w.Given(words[0])
		for n, t := range names {
			p.r.names[n] = t
		}
		return "", err
	case st.verb == "time":
		if err := quiet(1, "time +2h"); err != nil {
			return "", err
		}
		d, err := duration(words[0])
		if err != nil {
			return "", fault(st.Place, "%v", err)
		}
		return "", p.w.Pass(d)
	case st.verb == "mark":
		if err := quiet(1, "mark NAME"); err != nil {
			return "", err
		}
		m, err := p.w.Mark()
		p.r.marks[st.args[0].text] = m
		return "", err
	case st.verb == "confirm":
		if len(words) != 2 {
			return "", fault(st.Place, "write confirm YARD REQUEST")
		}
		a, _, _, err := p.act(st, true)
		if err != nil {
			return "", err
		}
		as, err := p.w.Confirm(words[0], words[1], a.Behind)
		for _, a := range as {
			if bad = p.differs(a, st.want); bad != "" {
				break
			}
		}
		return bad, err
	case st.verb == "prove":
		return p.prove(st, words)
	case st.verb == "drawing":
		return p.drawing(st)
	case st.verb == "send":
		if len(words) != 1 {
			return "", fault(st.Place, "write send NAME")
		}
		signed, ok := p.kept[st.args[0].text]
		if !ok {
			return "", fault(st.Place, "nothing was kept as %s", st.args[0].text)
		}
		a, as, _, err := p.act(st, true)
		if err != nil {
			return "", err
		}
		ans, err := p.w.Send(a, signed)
		return p.took(as, ans, err, st.want)
	case p.r.file.known(st.verb):
		return p.does(st)
	}
	if len(words) < len(st.args) || len(st.fields) > 0 || st.want == nil {
		return "", fault(st.Place, "there is no act %s; a question ends with -> and what it is to say", st.verb)
	}
	ask := func() (string, error) {
		a, err := p.w.Ask(st.verb, words)
		if err != nil {
			return "", err
		}
		return p.says(a, st.want), nil
	}
	bad, err = ask()
	if w, ok := p.w.(Waiter); ok && bad != "" && err == nil {
		w.Until(func() bool { bad, err = ask(); return bad == "" || err != nil })
	}
	return bad, err
}

// does plays a line that is somebody's act.
func (p *playing) does(st *Step) (string, error) {
	if len(st.args) == 0 || st.args[0].msg != nil || st.args[0].list != nil {
		return "", fault(st.Place, "who does it? write %s PERSON", st.verb)
	}
	a, as, keep, err := p.act(st, false)
	if err != nil {
		return "", err
	}
	return p.send(a, as, keep, st.want)
}

// prove has a person take every reading that the plan of a job asks for.
func (p *playing) prove(st *Step, words []string) (bad string, err error) {
	if len(words) != 2 {
		return "", fault(st.Place, "write prove PERSON JOB")
	}
	all, err := p.w.Proofs(words[1])
	for _, reading := range all {
		a, as, keep, err := p.act(st, true)
		if err != nil {
			return "", err
		}
		if as != "" || keep != "" {
			return "", fault(st.Place, "prove is several readings: they have no one name")
		}
		if a.Record, err = p.r.record("reading", nil, nil); err != nil {
			return "", err
		}
		a.Signer = words[0]
		proto.Merge(a.Record.GetReading(), reading)
		if bad, err = p.send(a, "", "", st.want); bad != "" || err != nil {
			return bad, err
		}
	}
	return "", err
}

func (p *playing) send(a *Act, as, keep string, w *want) (string, error) {
	if keep != "" {
		if w != nil || as != "" {
			return "", fault(a.Place, "what is kept is neither taken nor named: send it first")
		}
		signed, err := p.w.Sign(a)
		p.kept[keep] = signed
		return "", err
	}
	ans, err := p.w.Do(a)
	return p.took(as, ans, err, w)
}

func (p *playing) took(as string, ans Answer, err error, w *want) (string, error) {
	if err != nil {
		return "", err
	}
	if as != "" && ans.Ref != "" {
		p.r.names[as] = ans.Ref
	}
	return p.differs(ans, w), nil
}

// act reads an act's line; bare, one that has only what goes beside an act.
func (p *playing) act(st *Step, bare bool) (a *Act, as, keep string, err error) {
	a = &Act{Place: st.Place, Text: st.Text}
	var fields []field
	for _, f := range st.fields {
		if beside, err := p.beside(a, f, &as, &keep); err != nil {
			return nil, "", "", err
		} else if !beside {
			fields = append(fields, f)
		}
	}
	switch {
	case as != "" && p.r.names[as] != "":
		return nil, "", "", fault(st.Place, "%s is a name already", as)
	case !bare:
		a.Signer = p.r.named(st.args[0])
		a.Record, err = p.r.record(st.verb, st.args[1:], fields)
	case len(fields) > 0:
		err = fault(st.Place, "%s takes no %s", st.verb, fields[0].key)
	}
	return a, as, keep, err
}

// beside takes a key that is none of the act's own fields.
func (p *playing) beside(a *Act, f field, as, keep *string) (bool, error) {
	t := p.r.named(f.val)
	list := []string{t}
	if f.val.list != nil {
		list = nil
		for _, v := range f.val.list {
			list = append(list, p.r.named(v))
		}
	}
	switch f.key {
	case "signed-by", "promised":
	default:
		if f.val.list != nil || f.val.msg != nil {
			return false, nil
		}
	}
	var err error
	switch f.key {
	case "at":
		a.At = t
	case "as":
		*as = f.val.text
	case "keep":
		*keep = f.val.text
	case "behind":
		m, ok := p.r.marks[t]
		if !ok {
			return true, fault(a.Place, "behind: there is no mark %s", t)
		}
		a.Behind = &m.Size
	case "captured":
		a.Captured, err = p.r.time(t)
	case "ago":
		a.Ago, err = duration(t)
	case "signed-by":
		a.SignedBy = list
	case "promised":
		a.Promised = list
	case "grant":
		n, ok := recordv1.Grant_value["GRANT_"+strings.ToUpper(strings.ReplaceAll(t, "-", "_"))]
		if !ok {
			return true, fault(a.Place, "%q is no grant", t)
		}
		a.Grant = recordv1.Grant(n)
	default:
		return false, nil
	}
	return true, err
}

// differs says how an outcome is not what was expected, "" when it is.
func (p *playing) differs(a Answer, w *want) string {
	if w == nil {
		w = &want{words: "ok"}
	}
	got := fmt.Sprintf("taken, flags %v", a.Flags)
	if !a.Accepted {
		got = fmt.Sprintf("refused with %v", a.Conditions)
	}
	found := a.Flags
	switch w.words {
	case "ok", "flagged":
		if !a.Accepted {
			return "it was " + got
		}
	case "refused":
		if found = a.Conditions; a.Accepted {
			return "it was " + got
		}
	default:
		return fmt.Sprintf("an act is ok, flagged or refused, not %q", w.words)
	}
	if why := p.codes(found, w); why != "" {
		return why + ": it was " + got
	}
	return ""
}

// says does the same for a question. Without words, the codes are what it is about;
// so "only" with no code asks for none.
func (p *playing) says(a Answer, w *want) string {
	if w.words != "" && w.words != a.Says {
		return fmt.Sprintf("it says %q, with %v", a.Says, a.Conditions)
	}
	if why := p.codes(a.Conditions, w); why != "" {
		return fmt.Sprintf("%s: it says %q, with %v", why, a.Says, a.Conditions)
	}
	return ""
}

func (p *playing) codes(found []Finding, w *want) string {
	is := func(c wantCode) func(Finding) bool {
		subject := p.r.named(value{text: c.subject})
		return func(f Finding) bool { return f.Code == c.code && (c.subject == "" || f.Subject == subject) }
	}
	for _, c := range w.codes {
		switch {
		case c.not && slices.ContainsFunc(found, is(c)):
			return fmt.Sprintf("%s %s is there", c.code, c.subject)
		case !c.not && !slices.ContainsFunc(found, is(c)):
			return fmt.Sprintf("%s %s is not there", c.code, c.subject)
		}
	}
	if w.only {
		for _, f := range found {
			if !slices.ContainsFunc(w.codes, func(c wantCode) bool { return !c.not && is(c)(f) }) {
				return f.String() + " is there too"
			}
		}
	}
	return ""
}
