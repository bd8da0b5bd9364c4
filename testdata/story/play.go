package story

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Mark is a moment of a ledger: its number of entries, and its time.
type Mark struct {
	Size uint64
	Time int64
}

// World is where a story is played.
type World interface {
	Context
	// Given brings the world to the place where a story begins, and names what it
	// made.
	Given(word string) (names map[string]string, err error)
	// Pass lets the time d go by in the world.
	Pass(d time.Duration) error
	Mark() (Mark, error)
	// Do has a person sign an act and sends it.
	Do(a *Act) (Answer, error)
	// Sign has an act signed and keeps it. Send sends what Sign returned.
	Sign(a *Act) (signed any, err error)
	Send(a *Act, signed any) (Answer, error)
	// Confirm makes a yard confirm a request. With "every", each yard concerned does.
	// behind, unless nil, is how many entries of the ledger the yard had seen.
	Confirm(yard, request string, behind *uint64) ([]Answer, error)
	// Ask answers a line that is not an act: "work boot-1".
	Ask(what string, args []string) (Answer, error)
	// Proofs lists the readings that a job's plan asks for.
	Proofs(job string) ([]*recordv1.Reading, error)
	// Drawing returns a copy of a yard's present drawing.
	Drawing(yard string) (*recordv1.Drawing, error)
}

// Act is one act of one person.
type Act struct {
	Place, Text string
	Signer      string
	// Record holds the act alone. The world adds the signer, the ledger and the time.
	// Record is nil for Send.
	Record *recordv1.Record
	// At is the yard whose journal the act goes through. When empty, the world chooses
	// the right way.
	At string
	// Behind, unless nil, is how many entries of the ledger that yard had seen.
	Behind *uint64
	// Captured, unless 0, is the time on the signer's clock.
	Captured int64
	// Ago is how long ago the yard wrote the act down.
	Ago time.Duration
	// SignedBy names the keys that sign the act. When empty, those sign whom the
	// contract asks for.
	SignedBy []string
	Grant    recordv1.Grant
	Promised []string
}

// Answer is the result of an act, or of a question.
type Answer struct {
	Accepted bool
	// Ref is the record's place in a journal.
	Ref               string
	Conditions, Flags []Finding
	// Says answers a question: "on", "may start".
	Says string
}

// Finding is a code and its subject.
type Finding struct{ Code, Subject string }

func (f Finding) String() string { return strings.TrimSpace(f.Code + " " + f.Subject) }

// Taken is the answer that an outcome of the ledger gives.
func Taken(o *recordv1.Outcome) Answer {
	return Answer{Accepted: o.GetAccepted(), Ref: o.GetRef(), Conditions: Missing(o.GetConditions()), Flags: Missing(o.GetFlags())}
}

// Missing lists the codes of conditions, and of the reasons inside them.
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

// T is the part of a test that playing needs.
type T interface {
	Helper()
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// Waiter is a world in which things take time. What a line asks for may become true a
// little later.
type Waiter interface {
	// Until calls so again and again, until it is true or the world has waited long
	// enough.
	Until(so func() bool)
}

// Knower is a world that knows every code there is. In it a story may not name an
// unknown code. An expectation that a misspelt code is absent would always be met.
type Knower interface {
	Known(code string) bool
}

// playing is a story that is being played.
type playing struct {
	w    World
	r    *reader
	kept map[string]any
}

// Play plays a story. If an act ends differently than expected, the story ends. After
// an unexpected answer to a question it goes on.
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

// known fails if the line expects a code that does not exist.
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

// step plays one line. bad says what came out differently than expected.
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

// does plays a line with a person's act.
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

// prove has a person take every reading that a job's plan asks for.
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

// act reads the line of an act. bare is for a line that has only the keys that go
// beside an act.
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

// beside takes a key that is not a field of the act itself.
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

// differs says how an outcome differs from what was expected, "" when it does not.
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

// says is differs for a question. If the line expects no words, the answer's codes
// alone count: so "only" with no code expects none.
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
