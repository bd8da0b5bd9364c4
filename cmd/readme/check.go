package readme

import (
	"testing"

	"github.com/spf13/cobra"
)

// Check holds every command of one program that the pages show against the program:
// it exists, has the flags, and takes their values and as many arguments. It returns
// how many it looked at. root is the repository's root, build makes the command line.
func Check(t testing.TB, root, program string, build func() *cobra.Command) int {
	t.Helper()
	list, err := Commands(root)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, c := range list {
		if c.Args[0] != program {
			continue
		}
		n++
		if why := wrong(build(), c); why != nil {
			t.Errorf("%s shows %q: %v", c.Where, c.Args, why)
		}
	}
	return n
}

// wrong says why the program does not take a command, nil when it does.
func wrong(top *cobra.Command, c Command) error {
	top.InitDefaultHelpCmd()
	words := c.Args[1:]
	if len(words) > 1 && words[0] == "help" {
		words, c.Whole = words[1:], true
	}
	cmd, rest, err := top.Find(words)
	if err != nil {
		return err
	}
	if err := cmd.ParseFlags(rest); err != nil {
		return err
	}
	if cmd.HasSubCommands() || c.Whole {
		if err := cmd.ValidateArgs(cmd.Flags().Args()); err != nil {
			return err
		}
	}
	if c.Whole {
		return cmd.ValidateRequiredFlags()
	}
	return nil
}
