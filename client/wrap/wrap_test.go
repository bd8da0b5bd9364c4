package wrap

import (
	"slices"
	"testing"
)

func TestLines(t *testing.T) {
	for _, c := range []struct {
		text, first, rest string
		width             int
		want              []string
	}{
		{"one two three", "  1. ", "     ", 13, []string{"  1. one two", "     three"}},
		// Exactly full: nothing moves down.
		{"one two", "", "", 7, []string{"one two"}},
		{"one two", "", "", 6, []string{"one", "two"}},
		// Characters count, not bytes: °C and é are one each.
		{"é° é", "", "", 4, []string{"é° é"}},
		// A word that doesn't fit stays whole.
		{"a stonebend/head-house/leg-2 b", "", "> ", 10, []string{"a", "> stonebend/head-house/leg-2", "> b"}},
		{"", "  - ", "    ", 10, []string{"  -"}},
	} {
		if got := Lines(c.text, c.width, c.first, c.rest); !slices.Equal(got, c.want) {
			t.Errorf("%q at %d: %q, want %q", c.text, c.width, got, c.want)
		}
	}
}
