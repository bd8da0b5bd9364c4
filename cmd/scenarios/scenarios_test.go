package scenarios

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

const stories = "../../testdata/scenarios"

// twoNames is a story with a test of its own.
var twoNames = filepath.Join(stories, "two-names.txtar")

// TestScenarios plays each story. See the package comment.
func TestScenarios(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(stories, "*.txtar"))
	if err != nil || !slices.Contains(files, twoNames) {
		t.Fatalf("stories %v: %v", files, err)
	}
	play(t, slices.DeleteFunc(files, func(f string) bool { return f == twoNames })...)
}

// TestOnePlaceTwoNames: the sweep of a bin is started by its second name, with somebody
// in the bin by the first (1910.147(e)(2)(i); decisions.md 32).
func TestOnePlaceTwoNames(t *testing.T) { play(t, twoNames) }

// play has the people of stories type their commands.
func play(t *testing.T, files ...string) {
	type script = *testscript.TestScript
	of := func(ts script) *coop { return ts.Value(coopKey{}).(*coop) }
	typed := func(ts script, want int, person string, args []string) {
		for i, a := range args { // the script's files are in its own folder
			if _, err := os.Stat(ts.MkAbs(a)); err == nil {
				args[i] = ts.MkAbs(a)
			}
		}
		code, out, errs := of(ts).typed(person, args...)
		fmt.Fprint(ts.Stdout(), out)
		fmt.Fprint(ts.Stderr(), errs)
		if code != want {
			ts.Fatalf("exit code %d, want %d\n%s%s", code, want, out, errs)
		}
	}
	plain := func(n int, usage string, do func(ts script, args []string)) func(script, bool, []string) {
		return func(ts script, neg bool, args []string) {
			if neg || len(args) < n {
				ts.Fatalf("usage: %s", usage)
			}
			do(ts, args)
		}
	}
	testscript.Run(t, testscript.Params{
		Files: files,
		Setup: func(e *testscript.Env) error {
			c := &coop{dir: e.WorkDir, clock: &clock{}, wires: newWires()}
			e.Values[coopKey{}] = c
			e.Defer(c.end)
			return nil
		},
		Cmds: map[string]func(script, bool, []string){
			"coop":    plain(0, "coop", func(ts script, _ []string) { ts.Check(of(ts).begin()) }),
			"as":      plain(2, "as person command...", func(ts script, a []string) { typed(ts, 0, a[0], a[1:]) }),
			"refused": plain(2, "refused person command...", func(ts script, a []string) { typed(ts, 3, a[0], a[1:]) }),
			"fails": plain(3, "fails code person command...", func(ts script, a []string) {
				code, err := strconv.Atoi(a[0])
				ts.Check(err)
				typed(ts, code, a[1], a[2:])
			}),
			"keep": plain(2, "keep name regexp", func(ts script, a []string) {
				m := regexp.MustCompile("(?m)" + a[1]).FindStringSubmatch(ts.ReadFile("stdout"))
				if len(m) < 2 {
					ts.Fatalf("nothing in the output matches %s", a[1])
				}
				ts.Setenv(a[0], m[1])
			}),
			"until": plain(3, "until person regexp command...", func(ts script, a []string) {
				ts.Check(of(ts).until(a[0], regexp.MustCompile("(?m)"+a[1]).MatchString, a[2:]...))
			}),
			"cut":  plain(1, "cut yard", func(ts script, a []string) { yard(ts, a[0]); of(ts).wires.set(a[0], true) }),
			"mend": plain(1, "mend yard", func(ts script, a []string) { yard(ts, a[0]); of(ts).wires.set(a[0], false) }),
			"later": plain(1, "later duration", func(ts script, a []string) {
				d, err := time.ParseDuration(a[0])
				ts.Check(err)
				of(ts).clock.later(d)
			}),
		},
	})
}

type coopKey struct{}

func yard(ts *testscript.TestScript, name string) {
	if !slices.Contains(yards, name) {
		ts.Fatalf("there is no yard %s", name)
	}
}
