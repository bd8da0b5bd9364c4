package drawing

import (
	"math"
	"regexp"
	"strconv"
	"time"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// fields calls set for each known field of a group, and returns the spot of the group.
// Unknown and repeated fields are errors.
func (r *reader) fields(n ast.Node, what string, known []string, set func(key string, value ast.Node) *spot) *spot {
	at := r.begin(n)
	s := &at
	pairs := r.pairs(n, what)
	s.fields = make([]field, 0, len(pairs))
	for _, p := range pairs {
		if earlier := s.field(p.key); earlier != nil {
			r.fail(p.at, "%s has %q twice, first in line %d; keep one", what, p.key, earlier.line)
			continue
		}
		key := ""
		for _, k := range known {
			if k == p.key {
				key = k // the constant, so that no spot keeps a copy of the file in memory
			}
		}
		if key == "" {
			r.fail(p.at, "unknown field %q; %s has: %s", p.key, what, join(known))
			continue
		}
		value, none := r.fill(p.value)
		if none {
			continue
		}
		f := set(key, value)
		if f == nil {
			place := p.at
			f = &place
		} else if f.fields != nil || f.items != nil {
			f.line, f.col = p.at.line, p.at.col
		}
		s.fields = append(s.fields, field{key, f})
	}
	return s
}

// list calls add for each entry and returns the spot of the list.
func (r *reader) list(n ast.Node, what string, add func(ast.Node) *spot) *spot {
	at := r.begin(n)
	s := &at
	entries := r.items(n, what)
	s.items = make([]*spot, 0, len(entries))
	for _, e := range entries {
		if e, none := r.fill(e); !none {
			s.items = append(s.items, add(e))
		}
	}
	return s
}

func (r *reader) text(n ast.Node, what string, into *string) *spot {
	at := r.begin(n)
	switch n := n.(type) {
	case *ast.StringNode:
		*into = n.Value
	case *ast.LiteralNode:
		*into = n.Value.Value
	case nil, *ast.NullNode:
		r.fail(at, "%s is empty; give it a text or leave the field out", what)
	case *ast.MappingNode, *ast.MappingValueNode, *ast.SequenceNode:
		r.fail(at, "%s must be text, not %s", what, kindOf(n))
	default:
		r.fail(at, "%s must be text, not %s; put it in quotes", what, kindOf(n))
	}
	return &at
}

func (r *reader) word(n ast.Node, w words, into *int32) *spot {
	at := r.begin(n)
	s, ok := n.(*ast.StringNode)
	if !ok {
		r.fail(at, "%s must be a word, not %s; it is one of: %s", w.what, kindOf(n), join(w.list()))
		return &at
	}
	number, err := w.read(s.Value)
	if err != nil {
		r.fail(at, "%v", err)
	}
	*into = number
	return &at
}

func (r *reader) flag(n ast.Node, what string, into *bool) *spot {
	at := r.begin(n)
	_, isText := n.(*ast.StringNode)
	if _, ok := n.(*ast.BoolNode); ok || isText && r.params != nil {
		switch n.GetToken().Value {
		case "true":
			*into = true
			return &at
		case "false":
			*into = false
			return &at
		}
	}
	r.fail(at, "%s must be true or false", what)
	return &at
}

// Numbers may be written in one way only: "010" is ten to some YAML readers and eight to
// others.
var decimal = regexp.MustCompile(`^(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?$`)

func plainNumber(n ast.Node) (string, bool) {
	switch n := n.(type) {
	case *ast.IntegerNode, *ast.FloatNode:
	case *ast.StringNode:
		// The parser takes "1e6" for a text.
		if t := n.GetToken().Type; t == token.DoubleQuoteType || t == token.SingleQuoteType {
			return "", false
		}
	default:
		return "", false
	}
	s := n.GetToken().Value
	return s, decimal.MatchString(s)
}

func (r *reader) count(n ast.Node, what string, into *uint32) *spot {
	at := r.begin(n)
	s, ok := plainNumber(n)
	number, err := strconv.ParseUint(s, 10, 32)
	if !ok || err != nil {
		r.fail(at, "%s must be a whole number from 0 to %d", what, uint32(math.MaxUint32))
		return &at
	}
	*into = uint32(number)
	return &at
}

func (r *reader) amount(n ast.Node, what string, into *float64) *spot {
	at := r.begin(n)
	s, ok := plainNumber(n)
	number, err := strconv.ParseFloat(s, 64)
	if !ok || err != nil {
		r.fail(at, "%s must be a number from 0 up, such as 63300 or 0.5", what)
		return &at
	}
	*into = number
	return &at
}

func (r *reader) wait(n ast.Node, what string, into *uint32) *spot {
	at := r.begin(n)
	s, ok := n.(*ast.StringNode)
	if !ok {
		r.fail(at, "%s must be a duration with its unit, such as 90s, 10m or 0s", what)
		return &at
	}
	d, err := time.ParseDuration(s.Value)
	switch {
	case err != nil:
		r.fail(at, "%s must be a duration with its unit, such as 90s, 10m or 0s; %q is none", what, s.Value)
	case d < 0:
		r.fail(at, "%s can't be less than nothing", what)
	case d%time.Second != 0:
		r.fail(at, "%s must be whole seconds; round it up", what)
	case d/time.Second > math.MaxUint32:
		r.fail(at, "%s can be %d seconds at most", what, uint32(math.MaxUint32))
	default:
		*into = uint32(d / time.Second)
	}
	return &at
}
