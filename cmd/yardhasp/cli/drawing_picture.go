package cli

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"yardhasp/client/picture"
)

func (a *App) drawingPicture() *cobra.Command {
	var points []string
	var out string
	var dot bool
	c := &cobra.Command{Use: "picture ZONE [FILE...]", Short: "Draw a zone, what feeds it and its plan, as SVG", Args: args(1, -1),
		Long:    "Draws the dead side of the plan, the ways from its points to the nearest source,\nand the controls that could start something there with their feeds. From the\nledger's current drawings, or from files, asking nobody. With --point it draws\nthose points instead of the plan, and what they leave live.",
		Example: "  yardhasp drawing picture stonebend/leg-2-boot --output-file boot.svg\n  yardhasp drawing picture stonebend/leg-2-boot *.yaml > boot.svg\n  yardhasp drawing picture stonebend/leg-2-boot *.yaml --dot | dot -Tpdf > boot.pdf"}
	f := c.Flags()
	f.StringVar(&out, "output-file", "", "write to this `file` instead of stdout")
	f.StringSliceVar(&points, "point", nil, "draw this `point` instead of the plan's; more than one with commas or again")
	f.BoolVar(&dot, "dot", false, "text for Graphviz instead of SVG")
	c.RunE = func(c *cobra.Command, args []string) error {
		y, err := a.graphOf(c, args[1:])
		if err != nil {
			return err
		}
		plan, err := y.plan(args[0], points, 0)
		if err != nil {
			return err
		}
		draw := picture.SVG
		if dot {
			draw = picture.DOT
		}
		data, err := draw(y.g, y.list, plan)
		if err != nil {
			return err
		}
		a.hintf("%s", y.known)
		if out == "" {
			_, err = a.Out.Write(data)
			return err
		}
		return writeWhole(out, data)
	}
	return c
}

// writeWhole keeps the previous file, or none, if writing fails.
func writeWhole(path string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".picture-*")
	if err != nil {
		return fmt.Errorf("picture not written: %w", err)
	}
	_, err = f.Write(data)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Chmod(f.Name(), 0o644)
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return fmt.Errorf("picture not written: %w", err)
	}
	return nil
}
