package energy

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

var mutants = flag.String("mutants", "sample", "which mutants TestMutants tries: sample or all")

// mutant is one thing broken on purpose, and the tests that must notice.
type mutant struct {
	what     string
	file     string
	old, new string // old must occur exactly once in file
	tests    string // pattern for -run
	sample   bool   // tried in the default run
}

// TestMutants builds the package with one thing broken, over and over, and runs
// the tests named beside it. A mutant is caught when a test fails; one that
// doesn't build, or whose old text isn't there once, is a failure of the table.
// The default run tries one of each source file, since each is a build of its own;
// -mutants=all tries every one, and -short none: it looks at the table alone.
func TestMutants(t *testing.T) {
	all := mutantTable()
	tries := make([]*try, 0, len(all))
	for _, m := range all {
		source, err := os.ReadFile(m.file)
		if err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(string(source), m.old); n != 1 || m.old == m.new {
			t.Errorf("%s: the old text occurs %d times in %s, want once: mend the table", m.what, n, m.file)
		} else if *mutants == "all" || m.sample && !testing.Short() {
			tries = append(tries, &try{mutant: m, source: strings.Replace(string(source), m.old, m.new, 1), dir: t.TempDir()})
		}
	}
	// two at a time: a build keeps one processor busy
	next := make(chan *try)
	var working sync.WaitGroup
	for range 2 {
		working.Go(func() {
			for x := range next {
				x.run(t.Context())
			}
		})
	}
	for _, x := range tries {
		next <- x
	}
	close(next)
	working.Wait()
	caught := 0
	for _, x := range tries {
		switch {
		case x.err == nil:
			t.Errorf("not caught by %s: %s", x.tests, x.what)
		case !strings.Contains(x.out, "--- FAIL: Test") && !strings.Contains(x.out, "panic:"):
			t.Errorf("%s: doesn't build or run: %v\n%s", x.what, x.err, x.out)
		default:
			caught++
			_, after, _ := strings.Cut(x.out, "--- FAIL: ")
			by, _, _ := strings.Cut(after, " ")
			t.Logf("caught by %s: %s", by, x.what)
		}
	}
	if len(tries) < len(all) {
		t.Logf("a sample of the %d in the table; -mutants=all tries every one", len(all))
	}
	t.Logf("mutants caught %d of %d", caught, len(tries))
}

// try is one mutant on its way.
type try struct {
	mutant
	source string // the whole file, broken
	dir    string
	out    string // what the tests printed
	err    error  // set when they failed, or never ran
}

// run runs the mutant's tests with its file replaced.
func (x *try) run(ctx context.Context) {
	file, err := filepath.Abs(x.file)
	if err != nil {
		x.err = err
		return
	}
	replaced, overlay := filepath.Join(x.dir, x.file), filepath.Join(x.dir, "overlay.json")
	text, err := json.Marshal(map[string]map[string]string{"Replace": {file: replaced}})
	if err != nil {
		x.err = err
		return
	}
	for name, data := range map[string][]byte{replaced: []byte(x.source), overlay: text} {
		if err := os.WriteFile(name, data, 0o600); err != nil {
			x.err = err
			return
		}
	}
	var b bytes.Buffer
	cmd := exec.CommandContext(ctx, "go", "test", "-overlay="+overlay, "-vet=off", "-failfast", "-timeout=60s",
		"-ldflags=-s -w", "-run=^("+x.tests+")$", ".")
	cmd.Stdout, cmd.Stderr = &b, &b
	x.err = cmd.Run()
	x.out = b.String()
}
