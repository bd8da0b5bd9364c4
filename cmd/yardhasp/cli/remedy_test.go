package cli

import (
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Every command that a remedy or a guess names is one, with the flag it gives.
func TestNamedCommandsExist(t *testing.T) {
	a, _ := testApp(nil)
	check := func(why, words string) {
		root := a.root()
		fields := strings.Fields(words)
		c, rest, err := root.Find(fields)
		if err != nil || c == root {
			t.Errorf("%s: there is no command %q", why, words)
			return
		}
		for _, w := range rest {
			if name, ok := strings.CutPrefix(w, "--"); ok && c.Flags().Lookup(name) == nil {
				t.Errorf("%s: %q has no flag %s", why, words, w)
			}
		}
	}
	for code, words := range recordedBy {
		check(code, words)
	}
	for word, list := range otherWords {
		if c, _, err := a.root().Find([]string{word}); err == nil && c.HasParent() {
			t.Errorf("%q is a command itself", word)
		}
		for _, words := range list {
			check(word, words)
		}
	}
}

// A remedy names the command that records it, and none where there is none.
func TestRemedyNamesCommand(t *testing.T) {
	for _, c := range []struct{ code, text, remedy, want string }{
		{"NOT_TOLD", "dov has not been told since the points were last closed", "tell them and record it", `tell them and record it: "yardhasp notice --before"`},
		{"NOT_TOLD", "dov has not been told after the last lock came off", "tell them and record it", `tell them and record it: "yardhasp notice --after"`},
		{"HOLD_STANDS", "a lock whose owner is not known hangs on it", "its owner claims it first", `its owner claims it first: "yardhasp claim draft"`},
		{"HOLD_STANDS", "ravi has a lock on it", "they take it off, or sign off", `they take it off, or sign off: "yardhasp release"`},
		{"NO_PERMIT", "no bin-entry permit is in force for crust-3", "issue one", `issue one: "yardhasp permit bin-entry"`},
		{"NO_PERMIT", "no permit can be issued for stonebend/hatch by this name", "open a job on stonebend/bin-4", `open a job on stonebend/bin-4: "yardhasp job open"`},
		{"HUNG_GRAIN", "grain hangs", "bring it down from outside", "bring it down from outside"},
		{"NOT_OPEN", "it is not recorded open", "", ""},
	} {
		if got := remedyOf(&recordv1.Finding{Code: c.code, Text: c.text, Remedy: c.remedy}); got != c.want {
			t.Errorf("%s, %s: %q, want %q", c.code, c.text, got, c.want)
		}
	}
}
