// Package words is the catalogue: the sentences that people read, made of the codes
// and arguments that the rules give (ledger/code). One file holds one language;
// another language is one more file. No program needs to read what is made here.
//
// A sentence names its arguments in braces, "{holder} still has a lock on {target}".
// What stands in square brackets is left out when an argument in it is empty:
// "found closed[, seen {seen}]".
package words

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
	"time"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

//go:embed *.json
var files embed.FS

// Sentence is what one code says, and what would meet it.
type Sentence struct {
	Says   string `json:"says"`
	Remedy string `json:"remedy,omitempty"`
}

// Catalogue is one language.
type Catalogue struct {
	// Codes are the sentences, by code.
	Codes map[code.Code]Sentence `json:"codes"`
	// Words are what arguments of the kind word, and those who supply something, are
	// called.
	Words map[string]string `json:"words"`
	// Nobody is what stands for an argument of names that is empty, by its name.
	Nobody map[string]string `json:"nobody"`
	// When writes a moment, Unix ms.
	When func(unixMS int64) string `json:"-"`
}

// English is the catalogue in English, times in UTC.
var English = must(Load("en"))

// Load reads the catalogue of a language: "en".
func Load(language string) (*Catalogue, error) {
	names, err := fs.Glob(files, language+"*.json")
	if err != nil || len(names) == 0 {
		return nil, fmt.Errorf("there is no catalogue of the language %q", language)
	}
	c := &Catalogue{Codes: map[code.Code]Sentence{}, Words: map[string]string{}, Nobody: map[string]string{}, When: utc}
	for _, name := range names {
		raw, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		if err := json.Unmarshal(raw, c); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
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

// Says is a finding in words. A code that this release does not know is shown as it
// is, with its arguments: nothing is hidden.
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

// Remedy is what would meet a finding, "" for nothing.
func (c *Catalogue) Remedy(f *recordv1.Finding) string {
	return c.fill(c.Codes[code.Of(f)].Remedy, f, c.value)
}

// Who is who can supply what is missing, "" for nobody named.
func (c *Catalogue) Who(f *recordv1.Finding) string {
	r, _ := code.Of(f).Row()
	if strings.HasPrefix(r.Who, "{") {
		return c.fill(r.Who, f, c.value)
	}
	return c.Word(r.Who)
}

// Clause is where the rule comes from, "" for one of our own.
func (c *Catalogue) Clause(f *recordv1.Finding) string {
	return code.ClauseOf(f)
}

// Next is the command that records what meets a finding, its arguments filled in;
// "" for none. What the rules could not know stands in capitals.
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

// Word is one word of the catalogue; one that it lacks is shown as it is.
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
