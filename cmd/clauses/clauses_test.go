package clauses

import (
	"encoding/csv"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../.."

var update = flag.Bool("update", false, "write the table into DEVELOPERS.md")

// row is one clause. Its words are ours; checked says how its text was read when the
// table was made: read, in a copy, from memory, or common practice.
type row struct{ clause, checked, asks, does, tests string }

func table(t *testing.T) (rows []row) {
	t.Helper()
	f, err := os.Open(filepath.Join(root, "testdata/clauses/clauses.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = 5
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range all[1:] {
		rows = append(rows, row{l[0], l[1], l[2], l[3], l[4]})
	}
	return rows
}

// TestClauses goes through the table: a row that says what the tool does names tests
// that exist; one that stays with people says so; none is listed twice; and every
// clause is there.
func TestClauses(t *testing.T) {
	rows := table(t)
	seen := map[string]bool{}
	for _, r := range rows {
		t.Run(r.clause, func(t *testing.T) {
			if seen[r.clause] {
				t.Error("it is in the table twice")
			}
			seen[r.clause] = true
			if !slices.Contains([]string{"read", "copy", "memory", "practice"}, r.checked) || r.asks == "" || r.does == "" {
				t.Errorf("incomplete: %+v", r)
			}
			tests := strings.Fields(r.tests)
			if people := strings.HasPrefix(r.does, "people"); !people && len(tests) == 0 {
				t.Errorf("%q, and no test shows it", r.does)
			}
			for _, name := range tests {
				if why := missing(t, name); why != "" {
					t.Errorf("%s: %s", name, why)
				}
			}
			t.Logf("%s (%s): %s. %s", r.asks, r.checked, r.does, r.tests)
		})
	}
	// How many rows each part of the rules has, counted by hand from them.
	for prefix, want := range map[string]int{"1910.147(a)": 6, "1910.147(b)": 3, "1910.147(c)": 19, "1910.147(d)": 9, "1910.147(e)": 5, "1910.147(f)": 8,
		"1910.333": 11, "1910.145": 5, "1910.272": 25, "air: ": 9, "NFPA 70E": 10} {
		n := 0
		for c := range seen {
			if strings.HasPrefix(c, prefix) {
				n++
			}
		}
		if n != want {
			t.Errorf("%s: %d rows, want %d", prefix, n, want)
		}
	}
}

// missing says what is wrong with the name of a test, "package/Test" or
// "package/Test/subtest"; "" when it is there.
func missing(t *testing.T, name string) string {
	t.Helper()
	i := strings.Index(name, "/Test")
	if i < 0 {
		return "not package/Test"
	}
	dir, test := name[:i], name[i+1:]
	test, sub, _ := strings.Cut(test, "/")
	files, err := filepath.Glob(filepath.Join(root, dir, "*_test.go"))
	if err != nil || len(files) == 0 {
		return "no tests in " + dir
	}
	found, literal := false, false
	for _, f := range files {
		src, err := parser.ParseFile(token.NewFileSet(), f, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(src, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.FuncDecl:
				found = found || n.Recv == nil && n.Name.Name == test
			case *ast.BasicLit:
				if s, err := strconv.Unquote(n.Value); err == nil && n.Kind == token.STRING {
					literal = literal || s == sub
				}
			}
			return true
		})
	}
	scripts, _ := filepath.Glob(filepath.Join(root, "*", "*", sub+".txtar"))
	more, _ := filepath.Glob(filepath.Join(root, dir, "testdata", "script", sub+".txtar"))
	switch {
	case !found:
		return "there is no such test"
	case sub != "" && !literal && len(scripts)+len(more) == 0:
		return "there is no such subtest"
	}
	return ""
}

var clauseForm = regexp.MustCompile(`19(?:10|26)\.\d+(?:\([a-zA-Z0-9]+\))+`)

// TestEveryClauseIsInTheTable: no clause is printed to anybody that the table does not
// have, itself or the paragraph it is of, so that none is made up. There is no
// 1910.147(c)(10), for one.
func TestEveryClauseIsInTheTable(t *testing.T) {
	var known []string
	for _, r := range table(t) {
		known = append(known, expand(r.clause)...)
	}
	printed := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.HasSuffix(path, ".pb.go") {
			return err
		}
		src, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(src, func(n ast.Node) bool {
			l, ok := n.(*ast.BasicLit)
			if !ok || l.Kind != token.STRING {
				return true
			}
			for _, c := range clauseForm.FindAllString(l.Value, -1) {
				printed++
				if !slices.ContainsFunc(known, func(k string) bool { return k == c || strings.HasPrefix(k, c+"(") || strings.HasPrefix(c, k+"(") }) {
					t.Errorf("%s prints %s, which the table does not have", path, c)
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if printed < 100 {
		t.Errorf("only %d clauses are printed anywhere: the search finds too little", printed)
	}
}

// expand gives the clauses that a row's name stands for: "(a)-(b)" is both, and words
// behind it don't count.
func expand(name string) []string {
	name, _, _ = strings.Cut(name, " ")
	i := strings.Index(name, ")-(")
	if i < 0 {
		return []string{name}
	}
	head, first := name[:strings.LastIndex(name[:i], "(")], name[strings.LastIndex(name[:i], "(")+1:i]
	last := strings.TrimSuffix(name[i+3:], ")")
	order := []string{"i", "ii", "iii", "iv", "v", "vi"}
	if len(first) == 1 && len(last) == 1 && !slices.Contains(order, first) {
		var out []string
		for c := first[0]; c <= last[0]; c++ {
			out = append(out, fmt.Sprintf("%s(%c)", head, c))
		}
		return out
	}
	var out []string
	for k := slices.Index(order, first); k >= 0 && k <= slices.Index(order, last); k++ {
		out = append(out, head+"("+order[k]+")")
	}
	return out
}

const begin, end = "<!-- clauses: written by go test ./cmd/clauses -update -->", "<!-- end of clauses -->"

// TestTableInDevelopers: the table that contributors read is the one that is tested.
func TestTableInDevelopers(t *testing.T) {
	path := filepath.Join(root, "DEVELOPERS.md")
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(raw), begin)
	_, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatal("DEVELOPERS.md has no place for the table")
	}
	var b strings.Builder
	b.WriteString(begin + "\n\n| clause | source checked | what the tool does | shown by |\n| --- | --- | --- | --- |\n")
	word := map[string]string{"read": "read", "copy": "in a copy", "memory": "from memory, unchecked", "practice": "common practice, no source"}
	for _, r := range table(t) {
		fmt.Fprintf(&b, "| %s: %s | %s | %s | %s |\n", r.clause, r.asks, word[r.checked], r.does, strings.ReplaceAll(r.tests, " ", ", "))
	}
	b.WriteString("\n" + end)
	want := before + b.String() + after
	if *update {
		if err := os.WriteFile(path, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if want != string(raw) {
		t.Error("DEVELOPERS.md has another table: go test ./cmd/clauses -update")
	}
}
