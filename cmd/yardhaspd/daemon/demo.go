package daemon

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/cmd/yardhaspd/demo"
)

func demoCommand(o *options) *cobra.Command {
	var keep bool
	var name string
	c := &cobra.Command{
		Use:     "demo",
		Short:   "watch three yards at work on this machine, checked as it goes",
		Example: "  yardhaspd demo\n  yardhaspd demo --scenario link-down    one yard's link fails in the middle of a job\n  yardhaspd demo --keep                  leave the yards up to look around",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if all := demo.Scenarios(); !slices.Contains(all, name) {
				return &usageError{fmt.Errorf("--scenario %q: there are %s", name, strings.Join(all, " and "))}
			}
			return demo.Run(c.Context(), o.out, name, keep)
		},
	}
	c.Flags().StringVar(&name, "scenario", demo.Shift, "what to play: "+strings.Join(demo.Scenarios(), " or "))
	c.Flags().BoolVar(&keep, "keep", false, "leave the yards up and print how to look around")
	return c
}
