package drawing

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// maxBrackets limits how deep brackets and braces nest. A drawing needs four.
const maxBrackets = 16

// reader turns the YAML tree of one chunk into values and spots. It collects errors and
// does not stop at the first.
type reader struct {
	file   text
	offset int // lines before the chunk
	errs   Errors
	// params are the values of <name> in a text. It is nil outside templates.
	params map[string]string
	filled int // bytes of texts with parameters so far
	// templates and uses are those read so far.
	templates []*template
	uses      []*use
}

// tree parses the chunk. It is nil, with the error collected, when that fails.
func (r *reader) tree(data []byte) (root ast.Node) {
	// The parser is not ours. A file from outside must not stop a replica.
	defer func() {
		if p := recover(); p != nil {
			root = nil
			r.fail(spot{line: int32(r.offset + 1), col: 1}, "this part is not readable as YAML (%v)", p)
		}
	}()
	tokens := lexer.Tokenize(string(bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n"))))
	if !r.plain(tokens) {
		return nil
	}
	// fields reports duplicate keys, with lines of the whole file.
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		at := spot{line: int32(r.offset + 1), col: 1}
		var placed yaml.Error
		if !errors.As(err, &placed) {
			r.fail(at, "not YAML: %v", err)
			return nil
		}
		if t := placed.GetToken(); t != nil {
			at = r.where(t)
		}
		r.fail(at, "not YAML: %s", placed.GetMessage())
		return nil
	}
	if len(file.Docs) != 1 || file.Docs[0].Body == nil {
		r.fail(spot{line: int32(r.offset + 1), col: 1}, "not YAML: a value is missing")
		return nil
	}
	return file.Docs[0].Body
}

// plain refuses what a drawing does not use, before the parser follows it.
func (r *reader) plain(tokens token.Tokens) bool {
	depth, dashes, line := 0, 0, 0
	for _, t := range tokens {
		what := ""
		switch t.Type {
		case token.InvalidType:
			what = "not YAML: " + t.Error
		case token.AnchorType, token.AliasType:
			what = "anchors and aliases (& and *) are not read; write the value out, or put the text in quotes"
		case token.MergeKeyType:
			what = "merge keys (<<) are not read; write the fields out"
		case token.TagType:
			what = "tags (!) are not read; take it out, or put the text in quotes"
		case token.MappingKeyType:
			what = "keys written with ? are not read; write \"key: value\""
		case token.DirectiveType, token.DocumentHeaderType, token.DocumentEndType:
			what = "a file holds one drawing; take out the document mark"
		case token.SequenceEntryType:
			if t.Position != nil && t.Position.Line != line {
				dashes, line = 0, t.Position.Line
			}
			if dashes++; depth > 0 || dashes > maxBrackets {
				what = "a dash begins an entry of a list here; write one entry on a line, or put the text in quotes"
			}
		case token.SequenceStartType, token.MappingStartType:
			if depth++; depth > maxBrackets {
				what = fmt.Sprintf("more than %d brackets inside each other; nest less deep", maxBrackets)
			}
		case token.SequenceEndType, token.MappingEndType:
			depth--
		}
		if what != "" {
			r.fail(r.where(t), "%s", what)
			return false
		}
	}
	return true
}

func (r *reader) where(t *token.Token) spot {
	if t == nil || t.Position == nil {
		return spot{line: int32(r.offset + 1), col: 1}
	}
	return spot{line: int32(r.offset + max(t.Position.Line, 1)), col: int32(max(t.Position.Column, 1))}
}

func (r *reader) fail(at spot, format string, args ...any) {
	if len(r.errs) < maxErrors {
		r.errs = append(r.errs, Error{File: r.file.name, Line: int(at.line), Col: int(at.col), Text: fmt.Sprintf(format, args...)})
	}
}

// begin is the position of a node's first character.
func (r *reader) begin(n ast.Node) spot {
	switch n := n.(type) {
	case *ast.MappingNode:
		if !n.IsFlowStyle && len(n.Values) > 0 {
			return r.begin(n.Values[0])
		}
		return r.where(n.Start)
	case *ast.MappingValueNode:
		if n.Key != nil {
			return r.where(n.Key.GetToken())
		}
	case *ast.SequenceNode:
		return r.where(n.Start)
	}
	if n == nil {
		return r.where(nil)
	}
	return r.where(n.GetToken())
}

// pair is one "key: value".
type pair struct {
	key   string
	at    spot // of the key
	value ast.Node
}

// pairs reads a group of fields. what names the group in errors.
func (r *reader) pairs(n ast.Node, what string) []pair {
	var values []*ast.MappingValueNode
	switch n := n.(type) {
	case *ast.MappingNode:
		values = n.Values
	case *ast.MappingValueNode:
		values = []*ast.MappingValueNode{n}
	default:
		r.fail(r.begin(n), "%s must be fields such as {name: x}, not %s", what, kindOf(n))
		return nil
	}
	list := make([]pair, 0, len(values))
	for _, v := range values {
		key, ok := v.Key.(*ast.StringNode)
		if !ok {
			r.fail(r.begin(v), "%s has a field name that is not a word", what)
			continue
		}
		list = append(list, pair{key: key.Value, at: r.where(key.GetToken()), value: v.Value})
	}
	return list
}

// items reads a list. what names the list in errors.
func (r *reader) items(n ast.Node, what string) []ast.Node {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		r.fail(r.begin(n), "%s must be a list, not %s", what, kindOf(n))
		return nil
	}
	return s.Values
}

// kindOf says what a YAML value is, in words.
func kindOf(n ast.Node) string {
	switch n.(type) {
	case nil, *ast.NullNode:
		return "nothing"
	case *ast.MappingNode, *ast.MappingValueNode:
		return "fields"
	case *ast.SequenceNode:
		return "a list"
	case *ast.StringNode, *ast.LiteralNode:
		return "text"
	case *ast.IntegerNode, *ast.FloatNode:
		return "a number"
	case *ast.BoolNode:
		return "true or false"
	}
	return "this"
}
