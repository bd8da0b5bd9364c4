package drawing

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// maxExpanded limits the nodes, links and zones that templates add.
	maxExpanded = 500_000
	// maxFill limits the bytes of all texts with parameters in one drawing.
	maxFill = 64 << 20
	// maxFilled limits one text with its parameters filled in, in bytes.
	maxFilled = 4000
)

var (
	templateFields = []string{"name", "about", "parameters", "defaults", "nodes", "links", "zones"}
	useField       = "template"
)

// template is a piece of a drawing with parameters, written as <name> in its texts.
type template struct {
	name, about string
	file        text
	offset      int // lines before the chunk it stands in
	at          spot
	parameters  []string
	defaults    []param
	parts       []stretch
}

type stretch struct {
	key  string
	node ast.Node
}

type param struct {
	key, value string
	at         spot
}

// use is one use of a template.
type use struct {
	template string
	named    spot
	given    []param
	at       spot
	bad      bool // it could not be read
}

//go:embed templates.yaml
var builtInFile []byte

// builtIn are the templates every drawing has.
var builtIn = sync.OnceValues(func() ([]*template, error) {
	file := text{name: "the built-in templates", data: builtInFile}
	chunks, bad := split(file)
	if bad != nil {
		return nil, Errors{*bad}
	}
	var list []*template
	for _, c := range chunks {
		var p piece
		readChunk(file, c, &p)
		if len(p.errs) > 0 {
			return nil, p.errs
		}
		list = append(list, p.templates...)
	}
	return list, nil
})

// Template is one of the built-in templates.
type Template struct {
	Name, About string
	// Needs are the parameters that a use must give. Takes are those it may give, with
	// their defaults in Default.
	Needs, Takes []string
	Default      map[string]string
}

// Templates lists the built-in templates in the order of their file.
func Templates() []Template {
	list, err := builtIn()
	if err != nil {
		return nil
	}
	out := make([]Template, len(list))
	for i, t := range list {
		out[i] = Template{Name: t.name, About: t.about, Needs: slices.Clone(t.parameters), Default: map[string]string{}}
		for _, p := range t.defaults {
			out[i].Takes = append(out[i].Takes, p.key)
			out[i].Default[p.key] = p.value
		}
	}
	return out
}

// template collects the template definition n.
func (r *reader) template(n ast.Node) *spot {
	t := &template{file: r.file, offset: r.offset, at: r.begin(n)}
	r.templates = append(r.templates, t)
	return r.fields(n, "a template", templateFields, func(key string, v ast.Node) *spot {
		switch key {
		case "name":
			return r.text(v, "name", &t.name)
		case "about":
			return r.text(v, "about", &t.about)
		case "parameters":
			return r.list(v, "parameters", func(v ast.Node) *spot {
				var name string
				s := r.text(v, "a parameter", &name)
				if !parameterName.MatchString(name) {
					r.fail(*s, "%q is no parameter name; use lower-case letters, digits and underscores", name)
				}
				t.parameters = append(t.parameters, name)
				return s
			})
		case "defaults":
			at := r.begin(v)
			t.defaults = r.values(v, "defaults")
			for _, p := range t.defaults {
				if !parameterName.MatchString(p.key) {
					r.fail(at, "%q is no parameter name; use lower-case letters, digits and underscores", p.key)
				}
			}
			return &at
		}
		t.parts = append(t.parts, stretch{key, v})
		return nil
	})
}

// use collects the entry n in the list of uses.
func (r *reader) use(n ast.Node) *spot {
	u := &use{at: r.begin(n), named: r.begin(n)}
	before := len(r.errs)
	for _, p := range r.values(n, "a use of a template") {
		if p.key == useField {
			u.template, u.named = p.value, p.at
			continue
		}
		u.given = append(u.given, p)
	}
	u.bad = len(r.errs) > before
	r.uses = append(r.uses, u)
	return &u.at
}

// values reads fields of any name that have single values.
func (r *reader) values(n ast.Node, what string) []param {
	var list []param
	for _, p := range r.pairs(n, what) {
		value, at := "", r.begin(p.value)
		switch v := p.value.(type) {
		case *ast.StringNode:
			value = v.Value
		case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
			value = v.GetToken().Value
		default:
			r.fail(at, "%s must be a text, a number, or true or false, not %s", p.key, kindOf(p.value))
		}
		if len(value) > maxFilled/2 {
			r.fail(at, "%s has %d bytes; it may have %d", p.key, len(value), maxFilled/2)
			value = ""
		}
		if slices.ContainsFunc(list, func(q param) bool { return q.key == p.key }) {
			r.fail(p.at, "%s has %q twice; keep one", what, p.key)
			continue
		}
		list = append(list, param{strings.Clone(p.key), strings.Clone(value), at})
	}
	return list
}

var (
	parameterName = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	hole          = regexp.MustCompile(`<[^<> ]*>`)
)

// fill puts the parameters into a single value. none says that nothing is left of the
// value, so its field is left out.
func (r *reader) fill(n ast.Node) (filled ast.Node, none bool) {
	s, ok := n.(*ast.StringNode)
	if !ok || r.params == nil || !strings.Contains(s.Value, "<") {
		return n, false
	}
	holes := 0
	text := hole.ReplaceAllStringFunc(s.Value, func(h string) string {
		name := h[1 : len(h)-1]
		value, ok := r.params[name]
		if !ok {
			r.fail(r.begin(n), "%s is no parameter of the template", h)
		}
		holes++
		return value
	})
	if r.filled += len(text); r.filled > maxFill {
		return n, true
	}
	if len(text) > maxFilled {
		r.fail(r.begin(n), "the text has %d bytes with its parameters; it may have %d", len(text), maxFilled)
		return n, true
	}
	// Make a token without quotes, so that numbers are read as numbers.
	t := *s.Token
	t.Type, t.Value = token.StringType, text
	return &ast.StringNode{BaseNode: s.BaseNode, Token: &t, Value: text}, holes > 0 && text == ""
}

// expand adds to the drawing what its uses stand for.
func (a *assembly) expand(r *reader, own []*template, uses []*use) {
	known, err := builtIn()
	if err != nil {
		r.fail(spot{line: 1, col: 1}, "%v", err)
		return
	}
	byName := make(map[string]*template, len(known)+len(own))
	for _, t := range known {
		byName[t.name] = t
	}
	for _, t := range own {
		if byName[t.name] != nil {
			r.fail(t.at, "there is a template %q already; give this one another name", t.name)
			continue
		}
		byName[t.name] = t
	}
	added := 0
	for _, u := range uses {
		if len(r.errs) == maxErrors {
			return
		}
		if u.bad {
			continue
		}
		t := byName[u.template]
		if t == nil {
			r.fail(u.named, "unknown template %q; there are: %s", u.template, join(names(known, own)))
			continue
		}
		params, ok := u.params(r, t)
		if !ok {
			continue
		}
		if added += a.add(r, u, t, params); added > maxExpanded || r.filled > maxFill {
			r.fail(u.at, "the templates add more than %d nodes, links and zones, or %d bytes of text; split the drawing between yards", maxExpanded, maxFill)
			return
		}
	}
}

func names(lists ...[]*template) []string {
	var out []string
	for _, l := range lists {
		for _, t := range l {
			out = append(out, t.name)
		}
	}
	return out
}

// params matches what a use gives with what its template needs.
func (u *use) params(r *reader, t *template) (map[string]string, bool) {
	ok := true
	params := make(map[string]string, len(t.parameters)+len(t.defaults))
	takes := slices.Clone(t.parameters)
	for _, p := range t.defaults {
		takes = append(takes, p.key)
	}
	for _, p := range u.given {
		if !slices.Contains(takes, p.key) {
			r.fail(p.at, "template %q has no parameter %q; it has: %s", t.name, p.key, join(takes))
			ok = false
		}
		params[p.key] = p.value
	}
	for _, p := range t.defaults {
		if _, given := params[p.key]; !given {
			params[p.key] = hole.ReplaceAllStringFunc(p.value, func(h string) string { return params[h[1:len(h)-1]] })
		}
	}
	for _, name := range t.parameters {
		if params[name] == "" {
			r.fail(u.at, "template %q needs %s; it has: %s", t.name, name, join(takes))
			ok = false
		}
	}
	return params, ok
}

// add expands one use and returns how many entries that made. All entries of the
// expansion get the place of the use.
func (a *assembly) add(r *reader, u *use, t *template, params map[string]string) int {
	in := &reader{file: t.file, offset: t.offset, params: params, filled: r.filled}
	var d recordv1.Drawing
	for _, s := range t.parts {
		in.section(s.key, s.node, &d)
	}
	r.filled = in.filled
	for _, e := range in.errs {
		where := fmt.Sprintf("line %d", e.Line)
		if t.file.name != r.file.name {
			where += " of " + t.file.name
		}
		r.fail(u.at, "%s (in template %q, %s)", e.Text, t.name, where)
	}
	nameLinks(d.Links)
	a.drawing.Nodes = append(a.drawing.Nodes, d.Nodes...)
	a.drawing.Links = append(a.drawing.Links, d.Links...)
	a.drawing.Zones = append(a.drawing.Zones, d.Zones...)
	a.place("nodes", len(d.Nodes), u)
	a.place("links", len(d.Links), u)
	a.place("zones", len(d.Zones), u)
	return len(d.Nodes) + len(d.Links) + len(d.Zones)
}

// place records where the entries of an expansion stand.
func (a *assembly) place(list string, count int, u *use) {
	if count == 0 {
		return
	}
	at := a.root.field(list)
	if at == nil {
		at = &spot{line: u.at.line, col: u.at.col}
		a.root.fields = append(a.root.fields, field{list, at})
	}
	for range count {
		at.items = append(at.items, &spot{line: u.at.line, col: u.at.col})
	}
}
