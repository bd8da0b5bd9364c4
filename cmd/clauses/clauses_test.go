package clauses

import (
	"slices"
	"strings"
	"testing"
)

// TestClauses goes through the table row by row: each is whole, and every test that
// it names is in the repository.
func TestClauses(t *testing.T) {
	named := repository(t)
	for _, s := range load(t) {
		for _, r := range s.Rows {
			t.Run(r.Clause, func(t *testing.T) {
				t.Log(r.say())
				for _, w := range r.wrong() {
					t.Error(w)
				}
				for _, x := range r.Tests {
					if err := named.find(x); err != nil {
						t.Error(err)
					}
				}
			})
		}
	}
}

// TestClausesComplete: every row of the standards has its row here, in its order,
// and nothing else has.
func TestClausesComplete(t *testing.T) {
	table := load(t)
	if len(table) != len(standards) {
		t.Errorf("%d sections, the standards have %d", len(table), len(standards))
	}
	for i, want := range standards {
		if len(want.clauses) != want.rows {
			t.Errorf("section %s lists %d clauses, counted were %d", want.section, len(want.clauses), want.rows)
		}
		if i >= len(table) {
			break
		}
		var got []string
		for _, r := range table[i].Rows {
			got = append(got, strings.TrimPrefix(r.Clause, want.prefix))
		}
		if table[i].Section != want.section || !slices.Equal(got, want.clauses) {
			t.Errorf("section %s has %q,\nthe standards' section %s has %q", table[i].Section, got, want.section, want.clauses)
		}
	}
}

// TestClausesStrict: a table that is not whole is refused, one fault at a time.
func TestClausesStrict(t *testing.T) {
	const good = "- {section: a, title: b, rows: [{clause: 1910.1(a), requires: c, checked: read, tool: [flags], does: d, tests: [e/TestF]}]}"
	table, err := parse([]byte(good))
	if err != nil || len(table[0].Rows[0].wrong()) > 0 {
		t.Fatalf("%v %q", err, table[0].Rows[0].wrong())
	}
	for from, to := range map[string]string{
		"does: d":          "dose: d",
		"title: b":         "title: b, title: c",
		"section: a, ":     "",
		"checked: read, ":  "checked: read, checked: read, ",
		"rows: [{":         "rows: [{clause: 1910.1(a)}, {",
		"rows: [{clause: ": "rows: [{clause: 1910.1(a)-(b)}, {clause: ",
	} {
		if _, err := parse([]byte(strings.Replace(good, from, to, 1))); err == nil {
			t.Errorf("%q for %q is taken", to, from)
		}
	}
	for from, to := range map[string]string{
		"checked: read":                 "checked: believed",
		"tool: [flags]":                 "tool: [hopes]",
		"[flags]":                       "[flags, people]",
		"[flags], ":                     "[flags, flags], ",
		"tool: [flags], ":               "",
		", does: d":                     "",
		"tests: [e/TestF]":              "tests: []",
		"[e/TestF]":                     "[e/TestF, e/TestF]",
		"requires: c":                   "requires: ' '",
		"[flags], does: d":              "[missing], does: d",
		"tool: [flags], does: d, tests": "tool: [missing], missing: m, tests",
	} {
		table, err := parse([]byte(strings.Replace(good, from, to, 1)))
		if err != nil || len(table[0].Rows[0].wrong()) == 0 {
			t.Errorf("%q for %q is taken (%v)", to, from, err)
		}
	}
}

func TestClausesExpand(t *testing.T) {
	for id, want := range map[string]string{
		"1910.147(d)(3)":            "1910.147(d)(3)",
		"1910.147(c)(4)(ii)(A)-(D)": "1910.147(c)(4)(ii)(A) 1910.147(c)(4)(ii)(B) 1910.147(c)(4)(ii)(C) 1910.147(c)(4)(ii)(D)",
		"1910.147(f)(1)(i)-(v)":     "1910.147(f)(1)(i) 1910.147(f)(1)(ii) 1910.147(f)(1)(iii) 1910.147(f)(1)(iv) 1910.147(f)(1)(v)",
		"1910.272(q)(6)-(8)":        "1910.272(q)(6) 1910.272(q)(7) 1910.272(q)(8)",
		"1910.272(a)-(b)":           "1910.272(a) 1910.272(b)",
	} {
		if got := strings.Join(expand(id), " "); got != want {
			t.Errorf("%s: %s, want %s", id, got, want)
		}
	}
}
