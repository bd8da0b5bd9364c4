package drawing

import (
	"bytes"
	"fmt"
	"strings"
)

const (
	// chunkSize is how many bytes of entries are parsed together. The YAML parser takes
	// a few hundred bytes of memory for each byte of its input.
	chunkSize = 64 << 10
	// maxIndent limits how far a line is indented, and so how deep blocks nest.
	maxIndent = 200
)

// chunk is a group of whole lines that is valid YAML by itself.
type chunk struct {
	// list is the list that these entries belong to, such as "nodes". It is empty when
	// the chunk is one or more "key: value" pairs of the drawing itself.
	list string
	// line is the number of its first line, from 1.
	line int
	data []byte
	// key is where the list's key stands.
	key *spot
}

// split cuts a file at the keys of the drawing and at the entries of its lists. This
// loses nothing. Everything in an entry stands further right than the entry's own dash,
// or in brackets or quotes. A cut leaves such brackets or quotes open, and then the
// parser refuses them.
func split(file text) ([]chunk, *Error) {
	s := splitter{file: file}
	for pos, number := 0, 1; pos < len(file.data); number++ {
		end := len(file.data)
		if i := bytes.IndexByte(file.data[pos:], '\n'); i >= 0 {
			end = pos + i + 1
		}
		if err := s.line(number, pos, end); err != nil {
			return nil, err
		}
		pos = end
	}
	if err := s.flush(len(file.data)); err != nil {
		return nil, err
	}
	if len(s.chunks) == 0 {
		e := file.at(1, 1, "the file is empty; a drawing begins with \"yard: name\"")
		return nil, &e
	}
	return s.chunks, nil
}

type splitter struct {
	file   text
	chunks []chunk

	open   bool // a chunk has begun
	chunk  chunk
	start  int // its first byte
	entry  int // first byte of its last entry
	entryL int // line of that entry
	// header is the list whose key is so far the only line of the chunk.
	header string
	indent int // where the list's dashes stand
	braced bool
}

// line adds one line of the file, from pos to end, to the chunk that it belongs to.
func (s *splitter) line(number, pos, end int) *Error {
	line := bytes.TrimRight(s.file.data[pos:end], " \t\r\n")
	body := bytes.TrimLeft(line, " ")
	indent := len(line) - len(body)
	if len(body) == 0 || body[0] == '#' || s.braced {
		return nil
	}
	if body[0] == '\t' {
		return s.fail(number, indent+1, "indent with spaces, not with tabs")
	}
	if run := len(line) - len(bytes.TrimLeft(line, " -?:")); run > maxIndent {
		return s.fail(number, 1, fmt.Sprintf("the line begins %d columns in; nest less deep", run))
	}
	if indent == 0 && isMark(body) {
		if !s.open && len(s.chunks) == 0 && string(body) == "---" {
			return nil
		}
		return s.fail(number, 1, "a file holds one drawing; take out the document mark")
	}
	if indent == 0 && body[0] == '%' {
		return s.fail(number, 1, "YAML directives are not read; take the line out")
	}
	if !s.open {
		return s.first(number, pos, indent, body)
	}
	return s.next(number, pos, indent, body)
}

// isMark reports whether an unindented line begins or ends a YAML document.
func isMark(body []byte) bool {
	return bytes.HasPrefix(body, []byte("---")) || bytes.HasPrefix(body, []byte("..."))
}

// isDash reports whether a line begins an entry of a list.
func isDash(body []byte) bool {
	return body[0] == '-' && (len(body) == 1 || body[1] == ' ' || body[1] == '\t')
}

// first takes the first line that is not empty or a comment.
func (s *splitter) first(number, pos, indent int, body []byte) *Error {
	switch {
	case body[0] == '{':
		// The drawing is written in braces, like JSON: it is one chunk.
		s.begin(chunk{line: number}, pos, number)
		s.braced = true
		return nil
	case isDash(body):
		return s.fail(number, indent+1, "a drawing is made of fields, not a list; begin with \"yard: name\"")
	case indent > 0:
		return s.fail(number, indent+1, "the drawing's own fields begin in the first column")
	}
	return s.field(number, pos, body)
}

// next takes a line after the first one.
func (s *splitter) next(number, pos, indent int, body []byte) *Error {
	dash := isDash(body)
	switch {
	case !dash && indent == 0:
		return s.field(number, pos, body)
	case s.header != "" && dash:
		list := chunk{list: s.header, line: number, key: &spot{line: int32(s.chunk.line), col: 1}}
		s.begin(list, pos, number)
		s.header, s.indent = "", indent
	case s.header != "":
		s.header = ""
	case s.chunk.list != "" && dash && indent == s.indent:
		return s.nextEntry(number, pos)
	}
	return nil
}

// field begins one of the drawing's own fields.
func (s *splitter) field(number, pos int, body []byte) *Error {
	if err := s.flush(pos); err != nil {
		return err
	}
	s.begin(chunk{line: number}, pos, number)
	s.header = listKey(body)
	return nil
}

// nextEntry begins an entry of the chunk's list. It starts a new chunk when this one is
// large enough.
func (s *splitter) nextEntry(number, pos int) *Error {
	if err := s.checkEntry(pos); err != nil {
		return err
	}
	s.entry, s.entryL = pos, number
	if pos-s.start < chunkSize {
		return nil
	}
	next := chunk{list: s.chunk.list, line: number, key: s.chunk.key}
	if err := s.flush(pos); err != nil {
		return err
	}
	s.begin(next, pos, number)
	return nil
}

func (s *splitter) begin(c chunk, pos, number int) {
	s.open, s.chunk, s.start, s.entry, s.entryL = true, c, pos, pos, number
}

// flush ends the open chunk before pos.
func (s *splitter) flush(pos int) *Error {
	if !s.open {
		return nil
	}
	if err := s.checkEntry(pos); err != nil {
		return err
	}
	s.chunk.data = s.file.data[s.start:pos]
	s.chunks = append(s.chunks, s.chunk)
	s.open, s.header = false, ""
	return nil
}

// checkEntry limits the entry that ends before pos. The parser's work grows faster than
// the size of a piece.
func (s *splitter) checkEntry(pos int) *Error {
	if pos-s.entry <= maxEntry {
		return nil
	}
	return s.fail(s.entryL, 1, fmt.Sprintf("this entry has %d bytes; one may have %d: write lists with a line and a dash for each entry", pos-s.entry, maxEntry))
}

func (s *splitter) fail(line, col int, what string) *Error {
	e := s.file.at(line, col, what)
	return &e
}

// listKey is "nodes" for the line "nodes:", with or without a comment.
func listKey(line []byte) string {
	key, rest, found := strings.Cut(string(line[:min(len(line), 80)]), ":")
	rest = strings.TrimLeft(rest, " \t")
	if !found || rest != "" && rest[0] != '#' {
		return ""
	}
	switch key {
	case "stock", "templates", "use", "nodes", "links", "zones":
		return key
	}
	return ""
}
