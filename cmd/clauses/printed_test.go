package clauses

import (
	"go/ast"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestClausesPrinted: every clause that a string of the program or a README names
// is in the table, so that none is invented; and one from memory, and no other, is
// followed by "(unchecked)".
func TestClausesPrinted(t *testing.T) {
	table := load(t)
	seen := map[string]bool{}
	look := func(where, text string) {
		for _, c := range cited(text) {
			seen[c.id] = true
			if why := judge(table, c); why != "" {
				t.Errorf("%s prints %q: %s", where, text, why)
			}
		}
	}
	err := sources(func(name string, f *ast.File) error {
		if strings.HasSuffix(name, "_test.go") {
			return nil
		}
		for s := range literals(f) {
			look(name, s)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"README.md", "DEVELOPERS.md", "cmd/yardhasp/README.md", "cmd/yardhaspd/README.md"} {
		page, err := os.ReadFile(root + "/" + name)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(page)) {
			look(name, strings.TrimSpace(line))
		}
	}
	for _, id := range []string{"1910.147(e)(3)", "1910.333(b)(2)(iv)(B)", "1910.272(g)(3)", "1910.1000 Table Z-1", "NFPA 70E 120.5(1)", "1910.147(f)(3)(ii)(C)"} {
		if !seen[id] {
			t.Errorf("%s is printed, and was not found", id)
		}
	}
	t.Logf("%d clauses are printed", len(seen))
}

// citation is one clause in a text.
type citation struct {
	id        string
	unchecked bool // "(unchecked)" follows it
}

var (
	cite = regexp.MustCompile(`(19\d\d\.\d+)((?:\([A-Za-z0-9]+\))+)|1910\.1000 Table Z-\d|(?:NFPA 70E )?120\.[56]\(\d+\)|NFPA \d+[A-Z]?(?: \d+\.\d+(?:\(\d+\))?)?|` +
		`NEC \d+\.\d+|LBNL table [\d.]*\d|OSHA (?:letter|memorandum) of \d+ [A-Z][a-z]+ \d{4}`)
	more   = regexp.MustCompile(`^(?:,| and|, and) ((?:\([A-Za-z0-9]+\))+)`)
	letter = regexp.MustCompile(`\(([A-Za-z0-9]+)\)`)
)

// cited lists the clauses a text names, those after a comma too: "1910.147(d)(5)(i),
// (d)(6)" and "1910.333(b)(2)(ii)(C), (iv)(B)" name two each.
func cited(text string) []citation {
	var out []citation
	add := func(id, after string) {
		out = append(out, citation{id, strings.HasPrefix(after, " (unchecked)")})
	}
	for text != "" {
		m := cite.FindStringSubmatchIndex(text)
		if m == nil {
			return out
		}
		id, after := text[m[0]:m[1]], text[m[1]:]
		if i := strings.Index(id, "120."); i >= 0 && m[2] < 0 {
			id = "NFPA 70E " + strings.Replace(id[i:], "120.6", "120.5", 1)
		}
		add(id, after)
		if m[2] >= 0 {
			part, letters := text[m[2]:m[3]], split(text[m[4]:m[5]])
			for n := more.FindStringSubmatchIndex(after); n != nil; n = more.FindStringSubmatchIndex(after) {
				next := split(after[n[2]:n[3]])
				after = after[n[3]:]
				letters = append(slices.Clone(letters[:min(len(letters), depth(next[0]))]), next...)
				add(part+"("+strings.Join(letters, ")(")+")", after)
			}
		}
		text = after
	}
	return out
}

func split(letters string) []string {
	var out []string
	for _, m := range letter.FindAllStringSubmatch(letters, -1) {
		out = append(out, m[1])
	}
	return out
}

// depth is how many letters stand before one of this form: (a)(1)(i)(A).
func depth(l string) int {
	switch {
	case slices.Contains(romans, l):
		return 2
	case l >= "0" && l <= "99":
		return 1
	case l >= "A" && l <= "Z":
		return 3
	}
	return 0
}

// judge says what is wrong with printing a clause as it is, "" for nothing. A clause
// without a row of its own stands for those below it.
func judge(table []section, c citation) string {
	var own, below []row
	for _, s := range table {
		for _, r := range s.Rows {
			for _, id := range expand(r.Clause) {
				switch {
				case id == c.id:
					own = append(own, r)
				case strings.HasPrefix(id, c.id+"("), strings.HasPrefix(id, c.id+" "):
					below = append(below, r)
				}
			}
		}
	}
	if len(own) == 0 {
		own = below
	}
	memory := !slices.ContainsFunc(own, func(r row) bool { return r.Checked != unchecked })
	switch {
	case len(own) == 0:
		return c.id + " is not in the table: there may be no such clause"
	case memory && !c.unchecked:
		return c.id + " is from memory and is not printed as (unchecked)"
	case !memory && c.unchecked:
		return c.id + " was read and is printed as (unchecked)"
	}
	return ""
}

// TestClausesCited: how texts are read, and what is wrong with them.
func TestClausesCited(t *testing.T) {
	table := load(t)
	for text, want := range map[string]string{
		"29 CFR 1910.147(d)(5)(i), (d)(6)":                               "1910.147(d)(5)(i) 1910.147(d)(6)",
		"29 CFR 1910.333(b)(2)(ii)(C), (iv)(B); NEC 460.6":               "1910.333(b)(2)(ii)(C) 1910.333(b)(2)(iv)(B) NEC 460.6",
		"29 CFR 1910.147(f)(3)(ii)(A), (C)":                              "1910.147(f)(3)(ii)(A) 1910.147(f)(3)(ii)(C)",
		"1910.147(d)(4)(i), (d)(4)(ii), (c)(5)(iii)":                     "1910.147(d)(4)(i) 1910.147(d)(4)(ii) 1910.147(c)(5)(iii)",
		"1910.272(g)(1)(ii); OSHA memorandum of 3 May 2013":              "1910.272(g)(1)(ii) OSHA memorandum of 3 May 2013",
		"NFPA 70E 120.5(7), 120.6(7) in the 2024 edition":                "NFPA 70E 120.5(7) NFPA 70E 120.5(7)",
		"1910.1000 Table Z-1":                                            "1910.1000 Table Z-1",
		"plug, 1910.147(a)(2)(iii)(A) (unchecked); NFPA 51B (unchecked)": "1910.147(a)(2)(iii)(A) NFPA 51B",
		"nothing of 147(d)":                                              "",
	} {
		var got []string
		for _, c := range cited(text) {
			got = append(got, c.id)
			if why := judge(table, c); why != "" {
				t.Errorf("%q: %s", text, why)
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	for _, bad := range []string{"1910.147(c)(10)", "1910.147(h)", "1910.147(d)(7)", "1910.272(g)(7)", "NFPA 70E 120.5(9)", "1910.147(c)(7)(i)", "1910.147(e)(3) (unchecked)", "1910.252(a)", "NFPA 51B", "1910.147(d)(6), (d)(9)"} {
		ok := true
		for _, c := range cited(bad) {
			ok = ok && judge(table, c) == ""
		}
		if ok {
			t.Errorf("%q may be printed", bad)
		}
	}
}
