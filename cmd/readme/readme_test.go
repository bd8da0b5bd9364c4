package readme

import (
	"slices"
	"testing"

	"github.com/spf13/cobra"
)

// TestSplit: lines are cut as a shell cuts them (POSIX, Shell Command Language, 2.2 to 2.4).
func TestSplit(t *testing.T) {
	for line, want := range map[string][][]string{
		`yardhasp lock a/b/c --job boot-1   # hang it first`: {{"yardhasp", "lock", "a/b/c", "--job", "boot-1"}},
		`yardhasp hand-over --how "a # b; c" > over.txt`:     {{"yardhasp", "hand-over", "--how", "a # b; c"}},
		`a 1 && b 2; c | d`: {{"a", "1"}, {"b", "2"}, {"c"}, {"d"}},
		`# only a comment`:  nil,
		`say ""`:            {{"say", ""}},
	} {
		if got := split(line); !slices.EqualFunc(got, want, slices.Equal[[]string]) {
			t.Errorf("%s: %q, want %q", line, got, want)
		}
	}
}

// TestWrong: what a program does not take is found.
func TestWrong(t *testing.T) {
	run := func(*cobra.Command, []string) {}
	build := func() *cobra.Command {
		top := &cobra.Command{Use: "yardhasp", Args: cobra.NoArgs, Run: run}
		group := &cobra.Command{Use: "job", Args: cobra.NoArgs, Run: run}
		open := &cobra.Command{Use: "open JOB", Args: cobra.ExactArgs(1), Run: run}
		open.Flags().Int("people", 0, "")
		open.Flags().String("zone", "", "")
		_ = open.MarkFlagRequired("zone")
		group.AddCommand(open)
		top.AddCommand(group)
		return top
	}
	for line, ok := range map[string]bool{
		"yardhasp job open boot-1 --zone a/b":             true,
		"yardhasp job open boot-1 --people 3 --zone a/b":  true,
		"yardhasp job open boot-1 ...":                    true,
		"yardhasp":                                        true,
		"yardhasp help job":                               true,
		"yardhasp work open boot-1":                       false,
		"yardhasp job begin boot-1":                       false,
		"yardhasp job begin boot-1 ...":                   false,
		"yardhasp job open":                               false,
		"yardhasp job open boot-1":                        false,
		"yardhasp job open boot-1 --zone a/b --hurry":     false,
		"yardhasp job open boot-1 --people few --zone a":  false,
		"yardhasp job open boot-1 --people few --zone ..": false,
		"yardhasp help work":                              false,
	} {
		c := keep(nil, Command{Args: split(line)[0], Whole: true})[0]
		if err := wrong(build(), c); (err == nil) != ok {
			t.Errorf("%s: %v", line, err)
		}
	}
}
