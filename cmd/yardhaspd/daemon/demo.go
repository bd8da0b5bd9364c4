package daemon

import (
	"github.com/spf13/cobra"

	"yardhasp/cmd/yardhaspd/demo"
)

func demoCommand(o *options) *cobra.Command {
	var keep bool
	c := &cobra.Command{
		Use:     "demo",
		Short:   "watch three yards do the whole job on this machine, checked as it goes",
		Example: "  yardhaspd demo\n  yardhaspd demo --keep    leave the yards up to look around",
		Args:    cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return demo.Run(c.Context(), o.out, keep)
		},
	}
	c.Flags().BoolVar(&keep, "keep", false, "leave the yards up and print how to look around")
	return c
}
