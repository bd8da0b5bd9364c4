package energy

import (
	"cmp"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Problem is one thing wrong with a drawing.
type Problem struct {
	// Yard is the yard of the drawing.
	Yard string
	// Field says where, as a path inside the drawing: "links[3].from". A reader of text
	// drawings maps it to a line and column.
	Field string
	// Text says what is wrong and what to do.
	Text string
	// Warning is set when the drawing may be used anyway.
	Warning bool
}

func (p Problem) String() string {
	word := "error"
	if p.Warning {
		word = "warning"
	}
	return fmt.Sprintf("%s: %s: %s: %s", p.Yard, p.Field, word, p.Text)
}

// Refused reports whether any problem is more than a warning.
func Refused(ps []Problem) bool {
	return slices.ContainsFunc(ps, func(p Problem) bool { return !p.Warning })
}

// Check returns what is wrong with d as the next drawing of its yard, beside the current
// drawings of the other yards. A drawing of d's own yard among the others is left out.
// Errors come before warnings. Both lists are limited in length.
func Check(d *recordv1.Drawing, others []*recordv1.Drawing) []Problem {
	far := make([]*recordv1.Drawing, 0, len(others))
	for _, o := range others {
		if o.GetYard() != d.GetYard() {
			far = append(far, o)
		}
	}
	far = newest(far)
	ix := newIndex(append(slices.Clone(far), d))
	c := &checker{d: d, ix: ix}
	c.drawing()
	c.dangles(far)
	return c.all()
}

// index finds the nodes of all drawings by id.
type index struct {
	nodes map[string]recordv1.NodeKind
	// feedsBack are the machines that can feed energy back into their supply.
	feedsBack map[string]bool
}

func newIndex(ds []*recordv1.Drawing) *index {
	n := 0
	for _, d := range ds {
		n += len(d.GetNodes())
	}
	ix := &index{nodes: make(map[string]recordv1.NodeKind, n), feedsBack: map[string]bool{}}
	for _, d := range ds {
		for _, node := range d.GetNodes() {
			id := d.GetYard() + "/" + node.GetName()
			if _, twice := ix.nodes[id]; !twice {
				ix.nodes[id] = node.GetKind()
			}
			if node.GetFeedsBack() {
				ix.feedsBack[id] = true
			}
		}
	}
	return ix
}

// newest sorts ds by yard, in place. It keeps the newest revision of each yard.
func newest(ds []*recordv1.Drawing) []*recordv1.Drawing {
	slices.SortStableFunc(ds, func(a, b *recordv1.Drawing) int {
		return cmp.Or(cmp.Compare(a.GetYard(), b.GetYard()), cmp.Compare(b.GetRevision(), a.GetRevision()))
	})
	return slices.CompactFunc(ds, func(a, b *recordv1.Drawing) bool { return a.GetYard() == b.GetYard() })
}

// checker gathers the problems of one drawing.
type checker struct {
	d        *recordv1.Drawing
	ix       *index
	errors   []Problem
	warnings []Problem
	more     bool
}

func (c *checker) all() []Problem {
	if c.more {
		c.errors = append(c.errors, Problem{Yard: c.d.GetYard(), Field: "nodes",
			Text: fmt.Sprintf("more than %d problems: mend the ones above and check again", maxProblems)})
	}
	return append(c.errors, c.warnings...)
}

func (c *checker) bad(field, format string, args ...any) {
	if len(c.errors) == maxProblems {
		c.more = true
		return
	}
	c.errors = append(c.errors, Problem{Yard: c.d.GetYard(), Field: field, Text: fmt.Sprintf(format, args...)})
}

func (c *checker) warn(field, format string, args ...any) {
	if len(c.warnings) < maxProblems {
		c.warnings = append(c.warnings, Problem{Yard: c.d.GetYard(), Field: field, Text: fmt.Sprintf(format, args...), Warning: true})
	}
}

const nameRule = "use lower-case letters, digits and hyphens, beginning with a letter or digit, at most 64"

func (c *checker) drawing() {
	d := c.d
	if d == nil {
		c.bad("nodes", "there is no drawing: give one")
		return
	}
	if !ValidName(d.GetYard()) {
		c.bad("yard", "%q is no yard name: %s", d.GetYard(), nameRule)
	}
	if d.GetRevision() == 0 {
		c.bad("revision", "revision is 0: count from 1")
	}
	if !plain(d.GetTitle()) {
		c.bad("title", "title is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
	}
	tooMany := false
	for _, l := range []struct {
		field     string
		have, max int
	}{{"nodes", len(d.GetNodes()), MaxNodes}, {"links", len(d.GetLinks()), MaxLinks}, {"zones", len(d.GetZones()), MaxZones}} {
		if l.have > l.max {
			tooMany = true
			c.bad(l.field, "%d %s, at most %d: split the drawing between yards", l.have, l.field, l.max)
		}
	}
	if tooMany {
		return
	}
	c.nodes()
	c.links()
	c.zones()
	c.hardware()
}

func (c *checker) nodes() {
	seen := make(map[string]int, len(c.d.GetNodes()))
	for i, n := range c.d.GetNodes() {
		at := func(field string) string { return fmt.Sprintf("nodes[%d].%s", i, field) }
		if !ValidName(n.GetName()) {
			c.bad(at("name"), "%q is no node name: %s", n.GetName(), nameRule)
		}
		if j, twice := seen[n.GetName()]; twice {
			c.bad(at("name"), "node %q is already nodes[%d]: give each its own name", n.GetName(), j)
		} else {
			seen[n.GetName()] = i
		}
		if !knownNode(n.GetKind()) {
			c.bad(at("kind"), "node %q has no known kind: source, bus, machine, store or control", n.GetName())
		}
		if !plain(n.GetLabel()) {
			c.bad(at("label"), "label is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
		}
		if !plain(n.GetPlace()) {
			c.bad(at("place"), "place is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
		}
		c.interlock(i, n)
		c.store(i, n)
		c.figures(i, n)
		c.starts(i, n)
	}
}

// interlock checks the name that joins sources of which only one can be connected. An
// interlock never makes a set of points isolate: every source counts as connected.
func (c *checker) interlock(i int, n *recordv1.Node) {
	if n.GetInterlock() == "" {
		return
	}
	field := fmt.Sprintf("nodes[%d].interlock", i)
	if _, ok := qualify(c.d.GetYard(), n.GetInterlock()); !ok {
		c.bad(field, "%q is no interlock name: %s", n.GetInterlock(), nameRule)
	} else if n.GetKind() != recordv1.NodeKind_NODE_KIND_SOURCE {
		c.warn(field, "node %q is no source, so its interlock says nothing: name it on the sources that it keeps apart", n.GetName())
	}
}

func (c *checker) store(i int, n *recordv1.Node) {
	at := func(field string) string { return fmt.Sprintf("nodes[%d].%s", i, field) }
	s := n.GetStore()
	isStore := n.GetKind() == recordv1.NodeKind_NODE_KIND_STORE
	if s == nil {
		if isStore {
			c.bad(at("store"), "node %q is a store but says nothing of what it holds: give medium and release step", n.GetName())
		}
		return
	}
	if !isStore {
		c.bad(at("store"), "node %q holds energy but isn't of kind store: change the kind or take the store off", n.GetName())
	}
	if !knownMedium(s.GetMedium()) {
		c.bad(at("store.medium"), "store %q has no known medium: spell one out", n.GetName())
	}
	// the comparison is also false for NaN
	if !(s.GetJoules() >= 0 && s.GetJoules() <= 1e18) {
		c.bad(at("store.joules"), "joules of store %q are no number from 0 to 1e18: give 0 where nobody knows", n.GetName())
	}
	if !plain(s.GetRelease()) {
		c.bad(at("store.release"), "release step is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
	}
	if blank(s.GetRelease()) {
		c.warn(at("store.release"), "store %q has no release step: say how a crew lets the energy out", n.GetName())
	}
}

func (c *checker) starts(i int, n *recordv1.Node) {
	if len(n.GetStarts()) == 0 {
		return
	}
	if n.GetKind() != recordv1.NodeKind_NODE_KIND_CONTROL {
		c.bad(fmt.Sprintf("nodes[%d].starts", i), "node %q starts machines but is no control: change the kind or take starts off", n.GetName())
	}
	if len(n.GetStarts()) > MaxParts {
		c.bad(fmt.Sprintf("nodes[%d].starts", i), "control %q starts more than %d machines: split it", n.GetName(), MaxParts)
		return
	}
	for j, m := range n.GetStarts() {
		field := func() string { return fmt.Sprintf("nodes[%d].starts[%d]", i, j) }
		if id, ok := c.node(field, m); ok && c.ix.nodes[id] != recordv1.NodeKind_NODE_KIND_MACHINE {
			c.bad(field(), "%s isn't a machine: name the machine that control %q starts", id, n.GetName())
		}
	}
}

// node resolves a node named in the drawing. It reports one that does not exist.
func (c *checker) node(field func() string, ref string) (id string, ok bool) {
	id, ok = qualify(c.d.GetYard(), ref)
	if !ok {
		c.bad(field(), "%q is no node name: write \"node\", or \"yard/node\" for another yard's", ref)
		return id, false
	}
	if _, ok = c.ix.nodes[id]; !ok {
		c.bad(field(), "node %s isn't in the current drawings: add it, or mend the name", id)
	}
	return id, ok
}

func knownNode(k recordv1.NodeKind) bool {
	_, ok := recordv1.NodeKind_name[int32(k)]
	return ok && k != recordv1.NodeKind_NODE_KIND_UNSPECIFIED
}

func knownMedium(m recordv1.Medium) bool {
	_, ok := recordv1.Medium_name[int32(m)]
	return ok && m != recordv1.Medium_MEDIUM_UNSPECIFIED
}
