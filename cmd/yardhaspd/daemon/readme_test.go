package daemon

import (
	"io"
	"testing"

	"github.com/spf13/cobra"

	"yardhasp/cmd/readme"
)

// TestReadme: every yardhaspd command that a page for people shows is one.
func TestReadme(t *testing.T) {
	n := readme.Check(t, "../../..", "yardhaspd", func() *cobra.Command { return command(&options{out: io.Discard, err: io.Discard}) })
	if n < 10 {
		t.Errorf("%d commands were found: the pages are not read as they are written", n)
	}
}
