package clauses

import (
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
)

const root = "../.."

// section is a part of the standards, in the order of the table.
type section struct {
	Section string
	Title   string
	Rows    []row
}

// row is one clause.
type row struct {
	// Clause is its id: a section and its letters, (A)-(D) for a range, with a word
	// or two where one clause has several rows.
	Clause string
	// Requires is what it asks, in a few words of our own.
	Requires string
	// Checked is how its text was checked.
	Checked string
	// Tool is what the program does about it, one or more of acts, or people or
	// missing alone.
	Tool []string
	// Does says how; for people what is still shown, if anything.
	Does string
	// Missing says what of it is not built; empty for nothing.
	Missing string
	// Tests that show it, as package/TestName or package/TestName/subtest.
	Tests []string
}

var (
	checks = []string{"read", "read in a copy", "from memory", "computed", "common practice"}
	acts   = []string{"records", "computes", "refuses", "flags"}
)

const (
	people    = "people"
	missing   = "missing"
	unchecked = "from memory"
)

// load reads the table; an unknown or repeated key is an error.
func load(t *testing.T) []section {
	t.Helper()
	b, err := os.ReadFile(root + "/testdata/clauses/clauses.yaml")
	if err != nil {
		t.Fatal(err)
	}
	table, err := parse(b)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

func parse(b []byte) ([]section, error) {
	var table []section
	if err := yaml.UnmarshalWithOptions(b, &table, yaml.Strict()); err != nil {
		return nil, err
	}
	seen := map[string]string{}
	for _, s := range table {
		if s.Section == "" || s.Title == "" || len(s.Rows) == 0 {
			return nil, fmt.Errorf("section %q has no name, title or row", s.Section)
		}
		for _, r := range s.Rows {
			for _, id := range expand(r.Clause) {
				if seen[id] != "" {
					return nil, fmt.Errorf("%s stands in two rows, %q and %q", id, seen[id], r.Clause)
				}
				seen[id] = r.Clause
			}
		}
	}
	return table, nil
}

// acting reports whether the program itself does something about the clause.
func (r row) acting() bool {
	return slices.ContainsFunc(r.Tool, func(w string) bool { return slices.Contains(acts, w) })
}

// wrong lists what is wrong with the row by itself.
func (r row) wrong() []string {
	var out []string
	add := func(bad bool, format string, a ...any) {
		if bad {
			out = append(out, fmt.Sprintf(format, a...))
		}
	}
	add(r.Clause == "" || strings.TrimSpace(r.Requires) == "", "it has no clause or says nothing of what is required")
	add(!slices.Contains(checks, r.Checked), "%q is no way of checking, one of %q is", r.Checked, checks)
	add(len(r.Tool) == 0, "it does not say what the tool does")
	for i, w := range r.Tool {
		add(!slices.Contains(acts, w) && w != people && w != missing, "%q is nothing a tool does", w)
		add((w == people || w == missing) && len(r.Tool) > 1, "%s stands alone", w)
		add(slices.Contains(r.Tool[:i], w), "%s stands twice", w)
	}
	add(r.Does == "" && !slices.Contains(r.Tool, missing), "it does not say how the tool does it, or what it shows")
	add(r.Missing == "" && slices.Contains(r.Tool, missing), "it does not say what is missing")
	add(r.acting() && len(r.Tests) == 0, "the tool acts and no test shows it")
	add(slices.Contains(r.Tool, missing) && len(r.Tests) > 0, "nothing is built and tests are named")
	for i, x := range r.Tests {
		add(slices.Contains(r.Tests[:i], x), "%s is named twice", x)
	}
	return out
}

// say is the row in lines.
func (r row) say() string {
	lines := []string{r.Clause + ": " + r.Requires, "  text   " + r.Checked}
	if r.Checked == unchecked {
		lines[1] += ", printed as unchecked"
	}
	lines = append(lines, "  tool   "+r.acts())
	for _, x := range r.Tests {
		lines = append(lines, "  test   "+x)
	}
	return strings.Join(lines, "\n")
}

// acts says what the tool does in one line.
func (r row) acts() string {
	var parts []string
	switch {
	case slices.Contains(r.Tool, people):
		parts = append(parts, "stays with people: "+r.Does)
	case r.Does != "":
		parts = append(parts, strings.Join(r.Tool, ", ")+": "+r.Does)
	}
	if r.Missing != "" {
		parts = append(parts, "MISSING: "+r.Missing)
	}
	return strings.Join(parts, ". ")
}

var (
	spanEnd = regexp.MustCompile(`^(.*)\(([a-zA-Z0-9]+)\)-\(([a-zA-Z0-9]+)\)$`)
	romans  = []string{"i", "ii", "iii", "iv", "v", "vi", "vii", "viii"}
)

// expand lists the clauses of a row: 1910.147(f)(1)(i)-(v) is five, and every other
// id is itself.
func expand(id string) []string {
	m := spanEnd.FindStringSubmatch(id)
	if m == nil {
		return []string{id}
	}
	var steps []string
	switch from, to := slices.Index(romans, m[2]), slices.Index(romans, m[3]); {
	case from >= 0 && to > from:
		steps = romans[from : to+1]
	case len(m[2]) == 1 && len(m[3]) == 1 && m[2] < m[3]:
		for c := m[2][0]; c <= m[3][0]; c++ {
			steps = append(steps, string(c))
		}
	default:
		return []string{id}
	}
	var out []string
	for _, x := range steps {
		out = append(out, m[1]+"("+x+")")
	}
	return out
}
