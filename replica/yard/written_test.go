package yard

import (
	"slices"
	"testing"
)

// What is written here and nowhere else is listed, with what it is worth now
// (decisions.md 14; protocol.md 4): a lock this yard keeps, until it is signed off
// here, found live, or drained.
func TestWritten(t *testing.T) {
	w := newWorld(t)
	e := w.yards["eastfork"]
	w.opened(leg, drag)
	if got := e.y.Written(); len(got) != 0 {
		t.Fatalf("everything is drained, and %v is listed", got)
	}
	promised := func(ref string) []string {
		t.Helper()
		for _, x := range e.y.Written() {
			if x.Ref == ref {
				return x.Promised
			}
		}
		t.Fatalf("%s is not listed", ref)
		return nil
	}
	a, b := e.lock("wanda", onPoint(leg)), e.lock("walt", onPoint(drag))
	all := e.y.Written()
	if len(all) != 2 || all[0].Kind != "lock" || all[0].Signer != "wanda" || all[0].About != leg || all[0].At == 0 || all[1].Ref != b.Ref {
		t.Fatalf("listed: %+v", all)
	}
	if !slices.Equal(promised(a.Ref), []string{leg}) || !slices.Equal(promised(b.Ref), []string{drag}) {
		t.Errorf("promised: %v", all)
	}
	e.release("wanda", a.Seq)
	if got := promised(a.Ref); len(got) != 0 {
		t.Errorf("signed off here, and %v is still promised", got)
	}
	e.foundClosed(drag)
	if got := promised(b.Ref); len(got) != 0 {
		t.Errorf("found closed, and %v is still promised", got)
	}
	e.y.Broken("no space")
	c := e.y.Written()
	if len(c) == 0 || slices.ContainsFunc(c, func(x Written) bool { return len(x.Promised) > 0 }) {
		t.Errorf("out of service: %+v", c)
	}
}
