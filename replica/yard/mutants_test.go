package yard

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
)

var (
	mutantsRun    = flag.String("mutants", "sample", "which mutants to run: sample, all, or names with commas")
	mutantsSearch = flag.Bool("mutants.search", false, "search afresh and record the shortest traces in testdata/mutants")
)

const (
	traces = "testdata/mutants"
	broken = "RULE BROKEN: " // what a mutant's run says when it was caught
)

// TestMutants breaks the shipped source, one rule at a time, and explores it: a
// rule that can be broken unseen is a hole in the exploration. By default it
// replays the recorded shortest trace of a sample of them (decisions.md 31), and
// none with -short, since each is a build of its own; -mutants=all replays all,
// -mutants.search searches afresh.
func TestMutants(t *testing.T) {
	var mu sync.Mutex
	ran, caught := 0, 0
	all := everyMutant()
	t.Run("of", func(t *testing.T) {
		for i := range all {
			m := &all[i]
			if !chosen(m) {
				continue
			}
			t.Run(m.name, func(t *testing.T) {
				t.Parallel()
				said := m.show(t)
				mu.Lock()
				defer mu.Unlock()
				ran++
				if at := strings.Index(said, broken); at >= 0 {
					caught++
					line, _, _ := strings.Cut(said[at+len(broken):], "\n")
					say("%-36s %-18s %s", m.name, m.config, line)
				} else {
					t.Errorf("%s in %s is not caught: %s\n%s", m.name, m.config, m.why, last(said))
				}
			})
		}
	})
	say("redundant guards, each backed by another (TestRedundantGuards): %s", strings.Join(namesOf(redundant), ", "))
	fmt.Printf("mutants caught %d of %d\n", caught, ran)
}

// TestMutantsFitTheSource: every text that a mutant takes away stands in its file once,
// so that no guard goes untried for a line that was written anew.
func TestMutantsFitTheSource(t *testing.T) {
	for _, m := range slices.Concat(everyMutant(), redundant) {
		for _, e := range m.edits {
			src, err := os.ReadFile(filepath.Join("..", "..", filepath.FromSlash(e.file)))
			if err != nil {
				t.Fatal(err)
			}
			if n := bytes.Count(src, []byte(e.old)); n != 1 {
				t.Errorf("%s: the text to change stands %d times in %s, want once: %s", m.name, n, e.file, e.old)
			}
		}
	}
}

func namesOf(ms []mutant) []string {
	var out []string
	for _, m := range ms {
		out = append(out, m.name)
	}
	return out
}

func everyMutant() []mutant { return slices.Concat(mutants, laterMutants, testMutants, placeMutants) }

func chosen(m *mutant) bool {
	return *mutantsRun == "all" || *mutantsRun == "sample" && m.sample && !testing.Short() || slices.Contains(strings.Split(*mutantsRun, ","), m.name)
}

// TestRedundantGuards searches with a guard taken away that another one backs.
// It runs with -mutants=all; otherwise only the first.
func TestRedundantGuards(t *testing.T) {
	for i := range redundant {
		m := &redundant[i]
		if (i > 0 || testing.Short()) && !chosen(m) {
			continue
		}
		t.Run(m.name, func(t *testing.T) {
			t.Parallel()
			said := m.test(t, "-explore.config="+m.config, "-explore.seconds=6")
			if strings.Contains(said, broken) || !strings.Contains(said, "\nPASS") {
				t.Errorf("%s was expected to change nothing (%s):\n%s", m.name, m.why, last(said))
			}
		})
	}
}

// TestTracesBreakNothingHere replays every recorded trace on the code as it is.
func TestTracesBreakNothingHere(t *testing.T) {
	by := map[string]*bounds{}
	all := configurations()
	for i := range all {
		by[all[i].name] = &all[i]
	}
	for _, m := range everyMutant() {
		if m.run != "" {
			continue
		}
		b := by[m.config]
		if b == nil {
			t.Errorf("mutant %s names no configuration: %q", m.name, m.config)
			continue
		}
		steps := readTrace(t, filepath.Join(traces, m.name+".txt"))
		x := newExplorer(layOut(t, b), b)
		if at, bad := x.replay(steps); bad != "" {
			t.Errorf("the trace of %s breaks a rule of the shipped code at step %d: %s", m.name, at+1, bad)
		}
	}
}

func readTrace(t *testing.T, path string) []string {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for line := range strings.Lines(string(raw)) {
		if line = strings.TrimSuffix(line, "\n"); line != "" && line[0] != '#' {
			out = append(out, line)
		}
	}
	return out
}

func last(said string) string {
	if n := len(said); n > 3000 {
		return said[n-3000:]
	}
	return said
}

// run replays or searches, and returns what the mutant's own test said.
func (m *mutant) show(t *testing.T) string {
	if m.run != "" {
		said := m.test(t)
		if i := strings.Index(said, "--- FAIL"); i >= 0 {
			return broken + "test " + said[i+len("--- FAIL: "):]
		}
		return said
	}
	trace, err := filepath.Abs(filepath.Join(traces, m.name+".txt"))
	if err != nil {
		t.Fatal(err)
	}
	if *mutantsSearch {
		return m.test(t, "-explore.config="+m.config, "-explore.broad", "-explore.seconds=60", "-explore.record="+trace)
	}
	return m.test(t, "-explore.config="+m.config, "-explore.trace="+trace)
}

// test runs TestExplore on the source with the edits laid over it.
func (m *mutant) test(t *testing.T, args ...string) string {
	_, here, _, _ := runtime.Caller(0)
	root := filepath.Dir(filepath.Dir(filepath.Dir(here)))
	dir := t.TempDir()
	over := map[string]string{}
	for i, e := range m.edits {
		path := filepath.Join(root, filepath.FromSlash(e.file))
		from := path
		if over[path] != "" {
			from = over[path]
		}
		src, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(src, []byte(e.old)); n != 1 {
			t.Fatalf("the text to change stands %d times in %s, want once: %s", n, e.file, e.old)
		}
		to := filepath.Join(dir, fmt.Sprintf("%d.go", i))
		if err := os.WriteFile(to, bytes.Replace(src, []byte(e.old), []byte(e.new), 1), 0o600); err != nil {
			t.Fatal(err)
		}
		over[path] = to
	}
	raw, err := json.Marshal(map[string]any{"Replace": over})
	if err != nil {
		t.Fatal(err)
	}
	overlay := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(overlay, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	pkg, run := "./replica/yard", "^TestExplore$"
	if m.run != "" {
		pkg, run = m.pkg, m.run
	}
	what := []string{"test", "-vet=off", "-count=1", "-overlay=" + overlay, "-run=" + run, pkg}
	if len(args) > 0 {
		what = append(append(what, "-args"), args...)
	}
	cmd := exec.Command("go", what...)
	cmd.Dir = root
	// A test may build the program itself: that one too is the broken one.
	cmd.Env = append(os.Environ(), "GOFLAGS="+strings.TrimSpace(os.Getenv("GOFLAGS")+" -overlay="+overlay))
	out, err := cmd.CombinedOutput()
	if err == nil {
		return string(out) + "\nPASS"
	}
	return string(out)
}
