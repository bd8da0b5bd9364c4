package drawing

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Error is one thing wrong with a file.
type Error struct {
	File string
	// Line and Col count from 1. Col counts characters.
	Line, Col int
	Text      string
	// Excerpt is the line, and a caret under the column. It is empty when there is none.
	Excerpt string
}

// Error is "file:line:col: text". The excerpt follows on its own lines.
func (e Error) Error() string {
	s := fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Col, e.Text)
	if e.Excerpt != "" {
		s += "\n" + e.Excerpt
	}
	return s
}

// Errors is everything found wrong with a file, in the order of the file.
type Errors []Error

func (e Errors) Error() string {
	texts := make([]string, len(e))
	for i, one := range e {
		texts[i] = one.Error()
	}
	return strings.Join(texts, "\n")
}

// text is a file as it was read.
type text struct {
	name string
	data []byte
}

// excerptWidth is how many characters of a long line an excerpt shows.
const excerptWidth = 100

func (t text) at(line, col int, what string) Error {
	return Error{File: t.name, Line: line, Col: col, Text: what, Excerpt: t.excerpt(line, col)}
}

func (t text) excerpt(line, col int) string {
	rest := t.data
	for range line - 1 {
		_, after, found := bytes.Cut(rest, []byte{'\n'})
		if !found {
			return ""
		}
		rest = after
	}
	// Keep enough bytes for the column and a window behind it, however long the line is.
	if limit := (col + excerptWidth) * utf8.UTFMax; len(rest) > limit {
		rest = rest[:limit]
	}
	first, _, _ := bytes.Cut(rest, []byte{'\n'})
	runes := []rune(strings.TrimRight(strings.ToValidUTF8(string(first), "?"), "\r"))
	if len(runes) == 0 {
		return ""
	}
	from := 0
	if col > excerptWidth {
		from = col - excerptWidth/2
	}
	from = min(from, len(runes))
	runes = runes[from:min(len(runes), from+excerptWidth)]
	for i, r := range runes {
		if r < ' ' || r == 0x7f {
			runes[i] = ' '
		}
	}
	caret := min(max(col-1-from, 0), len(runes))
	number := fmt.Sprintf("%6d", line)
	return fmt.Sprintf("%s | %s\n%*s | %*s^", number, string(runes), len(number), "", caret, "")
}

// check refuses bytes that different YAML readers read differently.
func (t text) check() *Error {
	line, col := 1, 1
	for i := 0; i < len(t.data); {
		r, size := utf8.DecodeRune(t.data[i:])
		what := ""
		switch {
		case r == utf8.RuneError && size <= 1:
			what = "this is not UTF-8 text; save the file as UTF-8"
		case r == '\r' && (i+1 == len(t.data) || t.data[i+1] != '\n'):
			what = "a carriage return stands alone; end lines with a line feed"
		case r < ' ' && r != '\n' && r != '\t' && r != '\r', r == 0x7f:
			what = fmt.Sprintf("control character %#02x; take it out, or write it as an escape in double quotes", r)
		case r == 0x85, r == 0x2028, r == 0x2029, r == 0xfeff && i > 0:
			what = fmt.Sprintf("invisible character %#04x; take it out", r)
		}
		if what != "" {
			e := t.at(line, col, what)
			return &e
		}
		i += size
		col++
		if r == '\n' {
			line, col = line+1, 1
		}
	}
	return nil
}
