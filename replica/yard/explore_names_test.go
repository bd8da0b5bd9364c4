package yard

import (
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestOnePlaceTwoNames: people sign on to a place by one of its names, and a point
// reaches it by the other alone (decisions.md 9, 32). What they are promised is every
// point that reaches any zone of the place; and every situation of one request and one
// sign-on is gone through, to the end.
func TestOnePlaceTwoNames(t *testing.T) {
	all := configurations()
	b := &all[slices.IndexFunc(all, func(b bounds) bool { return b.name == "names" })]
	t.Run("promised", func(t *testing.T) {
		w := layOut(t, b)
		if w.s.Jobs["j2"].Zone != "eastfork/sump" {
			t.Fatal("people do not sign on by the second name")
		}
		r := w.yards["eastfork"].signOn("wanda", "j2")
		if r.Grant != recordv1.Grant_GRANT_HELD_LOCALLY || !slices.Equal(r.Promised, []string{leg, belt}) {
			t.Errorf("%s sealed with %v, want both points that reach the pit", r.Grant, r.Promised)
		}
	})
	t.Run("to the end", func(t *testing.T) {
		f := newExplorer(layOut(t, b), b).search(false, limits{every: 251})
		if f.violation != "" {
			t.Fatalf("%s\n%s%s", tell(b, f.trace, f.violation), broken, f.violation)
		}
		if f.stuck > 0 {
			t.Errorf("%s", tell(b, f.stuckTrace, "nothing leads to a new start from here"))
		}
		if !f.complete || f.states < 1000 {
			t.Errorf("%d situations were gone through, complete: %v", f.states, f.complete)
		}
	})
}
