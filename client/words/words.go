// Package words is the catalogue: the sentences that people read. They are made from the
// codes and arguments that the rules give (ledger/code). One file holds one language, so
// another language is one more file. No program needs to read these sentences.
//
// A sentence names its arguments in braces, "{holder} still has a lock on {target}".
// What stands in square brackets is left out when an argument in it is empty: "found
// closed[, seen {seen}]".
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

//go:embed *.json
var files embed.FS

// Sentence is what one code says, and what would meet its condition.
type Sentence struct {
	Says   string `json:"says"`
	Remedy string `json:"remedy,omitempty"`
}

// Catalogue is one language.
type Catalogue struct {
	// Codes are the sentences, by code.
	Codes map[code.Code]Sentence `json:"codes"`
	// Words are the texts for arguments of the kind word, and for those who can supply
	// something.
	Words map[string]string `json:"words"`
	// Nobody is the text for an empty argument of names, by the name of the argument.
	Nobody map[string]string `json:"nobody"`
	// When writes a moment given in Unix ms.
	When func(unixMS int64) string `json:"-"`
}

// English is the catalogue in English, times in UTC.
var English = must(Load("en"))

// Load reads the catalogue of a language, such as "en".
func Load(language string) (*Catalogue, error) {
	raw, err := files.ReadFile(language + ".json")
	if err != nil {
		return nil, fmt.Errorf("there is no catalogue of the language %q", language)
	}
	c := &Catalogue{When: utc}
	if err := json.Unmarshal(raw, c); err != nil {
		return nil, fmt.Errorf("%s.json: %w", language, err)
	}
	return c, nil
}

func must(c *Catalogue, err error) *Catalogue {
	if err != nil {
		panic(err) // the file is part of the program
	}
	return c
}

func utc(ms int64) string { return time.UnixMilli(ms).UTC().Format("2006-01-02 15:04:05 UTC") }

// At is the catalogue with moments written by when.
func (c *Catalogue) At(when func(unixMS int64) string) *Catalogue {
	d := *c
	d.When = when
	return &d
}

// Says is a finding in words. A code that this release does not know is shown as it is,
// with its arguments, so that nothing is hidden.
func (c *Catalogue) Says(f *recordv1.Finding) string {
	if s, ok := c.Codes[code.Of(f)]; ok {
		return c.fill(s.Says, f, c.value)
	}
	out := f.GetCode()
	if f.GetSubject() != "" {
		out += " " + f.GetSubject()
	}
	for _, a := range f.GetArgs() {
		out += " " + a.GetName() + "=" + c.value(a)
	}
	return out
}

// List is several findings in words.
func (c *Catalogue) List(fs []*recordv1.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, c.Says(f))
	}
	return out
}

// Remedy is what would meet a finding, or "".
func (c *Catalogue) Remedy(f *recordv1.Finding) string {
	return c.fill(c.Codes[code.Of(f)].Remedy, f, c.value)
}

// Who is who can supply what is missing, or "" if nobody is named.
func (c *Catalogue) Who(f *recordv1.Finding) string {
	r, _ := code.Of(f).Row()
	if strings.HasPrefix(r.Who, "{") {
		return c.fill(r.Who, f, c.value)
	}
	return c.Word(r.Who)
}

// Clause is where the rule comes from, or "" for a rule of our own.
func (c *Catalogue) Clause(f *recordv1.Finding) string {
	return code.ClauseOf(f)
}

// Next is the command that records what meets a finding, with its arguments filled in,
// or "". What the rules could not know stands in capitals.
func (c *Catalogue) Next(f *recordv1.Finding) string {
	r, _ := code.Of(f).Row()
	return c.fill(r.Next, f, func(a *recordv1.Arg) string {
		switch a.GetKind() {
		case recordv1.ArgKind_ARG_KIND_NAMES:
			if len(a.GetNames()) > 0 {
				return strings.Join(a.GetNames(), ",")
			}
		case recordv1.ArgKind_ARG_KIND_NUMBER:
			return strconv.FormatInt(a.GetNumber(), 10)
		default:
			if a.GetText() != "" {
				return a.GetText()
			}
		}
		return strings.ToUpper(strings.ReplaceAll(a.GetName(), "_", "-"))
	})
}

// Word is one word of the catalogue. A word that it lacks is shown as it is.
func (c *Catalogue) Word(key string) string {
	if w, ok := c.Words[key]; ok {
		return w
	}
	return key
}

// value is an argument in words.
func (c *Catalogue) value(a *recordv1.Arg) string {
	switch a.GetKind() {
	case recordv1.ArgKind_ARG_KIND_NAMES:
		if len(a.GetNames()) == 0 {
			return c.Nobody[a.GetName()]
		}
		return strings.Join(a.GetNames(), ", ")
	case recordv1.ArgKind_ARG_KIND_TIME:
		if a.GetTimeUnixMs() == 0 {
			return ""
		}
		return c.When(a.GetTimeUnixMs())
	case recordv1.ArgKind_ARG_KIND_NUMBER:
		return strconv.FormatInt(a.GetNumber(), 10)
	case recordv1.ArgKind_ARG_KIND_WORD:
		return c.Word(a.GetText())
	case recordv1.ArgKind_ARG_KIND_FINDINGS:
		return strings.Join(c.List(a.GetFindings()), "; ")
	}
	return a.GetText()
}

// fill puts a finding's subject and arguments into a sentence.
func (c *Catalogue) fill(sentence string, f *recordv1.Finding, value func(*recordv1.Arg) string) string {
	var out strings.Builder
	optional, empty, from := false, false, 0
	for i := 0; i < len(sentence); i++ {
		switch ch := sentence[i]; ch {
		case '[':
			optional, empty, from = true, false, out.Len()
		case ']':
			if optional && empty {
				kept := out.String()[:from]
				out.Reset()
				out.WriteString(kept)
			}
			optional = false
		case '{':
			end := strings.IndexByte(sentence[i:], '}')
			if end < 0 {
				out.WriteString(sentence[i:])
				return out.String()
			}
			v := c.named(sentence[i+1:i+end], f, value)
			empty = empty || v == ""
			out.WriteString(v)
			i += end
		default:
			out.WriteByte(ch)
		}
	}
	return out.String()
}

func (c *Catalogue) named(name string, f *recordv1.Finding, value func(*recordv1.Arg) string) string {
	if name == "subject" {
		return f.GetSubject()
	}
	for _, a := range f.GetArgs() {
		if a.GetName() == name {
			return value(a)
		}
	}
	return ""
}

// Changes is what an outcome changed.
func (c *Catalogue) Changes(o *recordv1.Outcome) []string {
	return append([]string{}, c.List(o.GetDid())...)
}

// WithClause is a finding in words with its clause in brackets.
func (c *Catalogue) WithClause(f *recordv1.Finding) string {
	if cl := c.Clause(f); cl != "" {
		return c.Says(f) + " (" + cl + ")"
	}
	return c.Says(f)
}
