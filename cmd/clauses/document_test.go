package clauses

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the table into testdata/clauses/README.md")

const document = root + "/testdata/clauses/README.md"

// head stands above the table.
const head = `# The table of clauses

Each clause, how its text was checked, what the tool does about it, and the tests that show it. None of it proves that a
site complies.

This page is written from clauses.yaml, which says what each column means: go test ./cmd/clauses -run TestClausesDocument -update
`

// TestClausesDocument: testdata/clauses/README.md shows the table as it is.
func TestClausesDocument(t *testing.T) {
	want := head + markdown(load(t))
	if *update {
		if err := os.WriteFile(document, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	got, err := os.ReadFile(document)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Errorf("testdata/clauses/README.md does not show testdata/clauses/clauses.yaml as it is: go test ./cmd/clauses -run TestClausesDocument -update")
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
	fmt.Fprintf(&b, "\n%d rows: in %d the tool acts, %d stay with people, %d miss something. %d are from memory: where the program prints one, it says \"(unchecked)\" until somebody has read the text.\n",
		count(func(row) bool { return true }), count(row.acting), count(func(r row) bool { return slices.Contains(r.Tool, people) }),
		count(func(r row) bool { return r.Missing != "" }), count(func(r row) bool { return r.Checked == unchecked }))
	cell := strings.NewReplacer("|", `\|`)
	for _, s := range table {
		fmt.Fprintf(&b, "\n## %s: %s\n\n| clause | asks | text | the tool | shown by |\n| --- | --- | --- | --- | --- |\n", s.Section, s.Title)
		for _, r := range s.Rows {
			shown := "-"
			if len(r.Tests) > 0 {
				shown = "`" + strings.Join(r.Tests, "`, `") + "`"
			}
			fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", r.Clause, cell.Replace(r.Requires), r.Checked, cell.Replace(r.acts()), shown)
		}
	}
	return b.String()
}
