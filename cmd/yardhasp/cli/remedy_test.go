package cli

import (
	"regexp"
	"strings"
	"testing"

	"yardhasp/ledger/code"
	_ "yardhasp/replica" // the codes of every part of the program
)

// Every command that a code names is one, with the flags and as many
// arguments as it takes: whoever types it as it is printed is understood.
func TestNamedCommandsExist(t *testing.T) {
	a, _ := testApp(nil)
	// What is still to be filled in where a number stands.
	blank := regexp.MustCompile(`invalid argument "(x|[A-Z]+)"`)
	argument := regexp.MustCompile(`\{[a-z_]+\}`)
	check := func(why, words string, whole bool) {
		root := a.root()
		c, rest, err := root.Find(strings.Fields(argument.ReplaceAllString(words, "x")))
		if err != nil || c == root {
			t.Errorf("%s: there is no command %q", why, words)
			return
		}
		for _, w := range rest {
			if name, ok := strings.CutPrefix(w, "--"); ok && c.Flags().Lookup(name) == nil {
				t.Errorf("%s: %q has no flag %s", why, words, w)
				return
			}
		}
		if !whole {
			return
		}
		if err := c.ParseFlags(rest); err != nil && !blank.MatchString(err.Error()) {
			t.Errorf("%s: %q: %v", why, words, err)
		} else if err := c.ValidateArgs(c.Flags().Args()); err != nil {
			t.Errorf("%s: %q: %v", why, words, err)
		}
	}
	for _, c := range code.Codes() {
		if r, _ := c.Row(); r.Next != "" {
			words, ok := strings.CutPrefix(r.Next, "yardhasp ")
			if !ok {
				t.Errorf("%s: %q is no command of this program", c, r.Next)
			}
			check(string(c), words, true)
		}
	}
	for word, list := range otherWords {
		if c, _, err := a.root().Find([]string{word}); err == nil && c.HasParent() {
			t.Errorf("%q is a command itself", word)
		}
		for _, words := range list {
			check(word, words, false)
		}
	}
}
