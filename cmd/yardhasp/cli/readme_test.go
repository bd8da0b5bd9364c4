package cli

import (
	"testing"

	"github.com/spf13/cobra"

	"yardhasp/cmd/readme"
)

// TestReadme: every yardhasp command that a page for people shows is one.
func TestReadme(t *testing.T) {
	n := readme.Check(t, "../../..", "yardhasp", func() *cobra.Command { a, _ := testApp(nil); return a.root() })
	if n < 70 {
		t.Errorf("%d commands were found: the pages are not read as they are written", n)
	}
}
