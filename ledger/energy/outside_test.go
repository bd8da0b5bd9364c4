package energy

import "testing"

// outsideCheck is one check against something made elsewhere: a printed value, a
// published table, another program.
type outsideCheck struct {
	name   string
	source string
	check  func(t *testing.T)
}

// TestOutside runs every outside check and, with -v, lists each with its source.
func TestOutside(t *testing.T) {
	seen := map[string]bool{}
	for _, x := range outside() {
		if seen[x.name] || x.source == "" {
			t.Errorf("%q stands twice or has no source", x.name)
		}
		seen[x.name] = true
		t.Run(x.name, func(t *testing.T) {
			t.Logf("source: %s", x.source)
			x.check(t)
		})
	}
	t.Logf("%d outside checks", len(seen))
}
