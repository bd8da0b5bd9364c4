package ledger_test

import (
	"fmt"
	"testing"
)

// absent has a lock of tomas on the feeder, and the managers nia, oskar and petra.
func absent(t *testing.T) (*world, string) {
	t.Helper()
	w := drawn(t)
	w.crew()
	return w, w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", ""))).GetRef()
}

// reissue has one manager give somebody a new key: whoever made the key has it.
func (w *world) reissue(by, person string) {
	w.t.Helper()
	name := fmt.Sprintf("new key of %s by %s", person, by)
	w.must(w.signedBy(w.record(by, actReissueKey(person, name)), w.keys[by], key(name)))
	w.keys[person] = key(name)
}
