package daemon

import (
	"fmt"

	"github.com/spf13/cobra"

	"yardhasp/replica"
)

func repairCommand(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "repair",
		Short: "read all of a stopped replica's data, and mend what may be mended",
		Long: `repair reads all of a stopped replica's data and says how each part is.

  history  every entry. A damaged one is set aside beside it, never deleted, fetched
           again from the other yards, and checked against the root that this
           replica's state has and the others sign. One cut short is completed.
  log      what consensus rests on. Never mended: it says how the yard comes back as
           a new member.
  journal  what this yard wrote down and promised. Never mended: it says how the yard
           is walked down and begins anew.

A whole replica may be repaired too: then nothing changes. It may take minutes.`,
		Example: "  yardhaspd repair --data /srv/yardhasp",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			limitMemory()
			err := replica.Repair(c.Context(), replica.Config{Dir: o.dir, Logger: o.logger()}, func(line string) { fmt.Fprintln(o.out, line) })
			if err != nil {
				return err
			}
			fmt.Fprintf(o.out, "start it: yardhaspd --data %s\n", o.dir)
			return nil
		},
	}
}
