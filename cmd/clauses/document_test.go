package clauses

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the table into DEVELOPERS.md")

const (
	document = root + "/DEVELOPERS.md"
	begin    = "<!-- the clauses begin: go test ./cmd/clauses -run TestClausesDocument -update -->\n"
	end      = "<!-- the clauses end -->\n"
)

// TestClausesDocument: DEVELOPERS.md shows the table as it is.
func TestClausesDocument(t *testing.T) {
	b, err := os.ReadFile(document)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(b), begin)
	got, after, closed := strings.Cut(rest, end)
	if !ok || !closed {
		t.Fatalf("DEVELOPERS.md has no lines %q and %q", begin, end)
	}
	want := markdown(load(t))
	if *update {
		if err := os.WriteFile(document, []byte(before+begin+want+end+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if got != want {
		t.Errorf("the table in DEVELOPERS.md is not that of testdata/clauses/clauses.yaml: go test ./cmd/clauses -run TestClausesDocument -update")
	}
}

func markdown(table []section) string {
	var b strings.Builder
	count := func(counts func(row) bool) (n int) {
		for _, s := range table {
			for _, r := range s.Rows {
				if counts(r) {
					n++
				}
			}
		}
		return n
	}
	fmt.Fprintf(&b, "\n%d rows: in %d the tool acts, %d stay with people, %d miss something. %d are from memory: where the program prints one, it says unchecked.\n",
		count(func(row) bool { return true }), count(row.acting), count(func(r row) bool { return slices.Contains(r.Tool, people) }),
		count(func(r row) bool { return r.Missing != "" }), count(func(r row) bool { return r.Checked == unchecked }))
	cell := strings.NewReplacer("|", `\|`)
	for _, s := range table {
		fmt.Fprintf(&b, "\n### %s: %s\n\n| clause | asks | text | the tool | shown by |\n| --- | --- | --- | --- | --- |\n", s.Section, s.Title)
		for _, r := range s.Rows {
			shown := "-"
			if len(r.Tests) > 0 {
				shown = "`" + strings.Join(r.Tests, "`, `") + "`"
			}
			fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", r.Clause, cell.Replace(r.Requires), r.Checked, cell.Replace(r.acts()), shown)
		}
	}
	b.WriteString("\n")
	return b.String()
}
