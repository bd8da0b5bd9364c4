package cli

import (
	"fmt"
	"slices"
	"strings"

	"yardhasp/client/unit"
	"yardhasp/client/wrap"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// grouped is the number of conditions from which they are grouped by who supplies them.
// A shorter list stays in the order of the work.
const grouped = 4

// width is the number of columns of a screen.
func (a *App) width() int {
	if a.Width < 40 {
		return 80 // not known, or too narrow to be believed
	}
	return a.Width
}

// quantities adds customary units beside SI if the user asked for them.
func (a *App) quantities(text string) string {
	if a.units != "us" {
		return text
	}
	return unit.Beside(text)
}

// wrapped prints a text on as many lines as it needs. Later lines are indented.
func (p *page) wrapped(first, rest, text string) {
	for _, l := range wrap.Lines(p.a.quantities(text), p.a.width(), first, rest) {
		p.buf.WriteString(l + "\n")
	}
}

// conditionsText lists what is not met and who can supply it. A long list is grouped by
// who supplies it, in the order in which they first occur.
func (a *App) conditionsText(cs []*recordv1.Finding) string {
	var b strings.Builder
	var order []string
	by := map[string][]*recordv1.Finding{}
	for _, c := range cs {
		who := a.words().Who(c)
		if by[who] == nil {
			order = append(order, who)
		}
		by[who] = append(by[who], c)
	}
	if len(cs) < grouped || len(order) < 2 {
		for i, c := range cs {
			a.condition(&b, i+1, c, true)
		}
		return b.String()
	}
	n := 0
	for _, who := range order {
		name := who
		if name == "" {
			name = "nobody named"
		}
		fmt.Fprintf(&b, "  from %s:\n", name)
		for _, c := range by[who] {
			n++
			a.condition(&b, n, c, false)
		}
	}
	return b.String()
}

// names reports whether a text has a name in it, as a word of its own.
func names(text, name string) bool {
	return slices.ContainsFunc(strings.Fields(text), func(w string) bool { return strings.Trim(w, ".,;:()") == name })
}

// condition is one of them, in lines of its own.
func (a *App) condition(b *strings.Builder, n int, c *recordv1.Finding, who bool) {
	w := a.words()
	text := w.Says(c)
	if c.GetSubject() != "" && !names(text, c.GetSubject()) {
		text = c.GetSubject() + ": " + text
	}
	lines := wrap.Lines(a.quantities(text), a.width(), fmt.Sprintf("  %d. ", n), "     ")
	for _, l := range [][2]string{{"remedy", a.remedyOf(c)}, {"who", w.Who(c)}, {"clause", w.Clause(c)}} {
		if l[1] != "" && (who || l[0] != "who") {
			lines = append(lines, wrap.Lines(a.quantities(l[1]), a.width(), fmt.Sprintf("     %-7s ", l[0]+":"), "             ")...)
		}
	}
	b.WriteString(strings.Join(lines, "\n") + "\n")
}
