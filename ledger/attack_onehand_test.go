package ledger_test

import (
	"crypto/ed25519"
	"fmt"
	"testing"

	"yardhasp/ledger"
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

// TestOneHandGaveBothKeys: a manager gives two others new keys. The two signatures
// of a removal could then both be that manager's (design.md rule 2: two managers).
func TestOneHandGaveBothKeys(t *testing.T) {
	w, hold := absent(t)
	w.reissue("nia", "oskar")
	w.reissue("nia", "petra")
	w.refusedWith(w.together("oskar", actRemoval(hold, "petra")), ledger.OneHand)
}

// TestOneHandByAChain: a manager gives a second one a key and signs with it a third
// one's: the first and the third could be one hand.
func TestOneHandByAChain(t *testing.T) {
	w, hold := absent(t)
	w.reissue("nia", "oskar")
	w.reissue("oskar", "petra")
	w.refusedWith(w.together("nia", actRemoval(hold, "petra")), ledger.OneHand)
	w.refusedWith(w.together("petra", actRemoval(hold, "nia")), ledger.OneHand)
	w.refusedWith(w.together("oskar", actRemoval(hold, "petra")), ledger.OneHand)
	// A manager whose key nobody gave is a second one.
	w.joinPerson(person("quinn", false, manager))
	w.must(w.together("petra", actRemoval(hold, "quinn")))
}

// TestAcknowledgedByAGivenKey: who ordered the removal gives the absent person a key
// and says with it that they were told, 1910.147(e)(3)(iii).
func TestAcknowledgedByAGivenKey(t *testing.T) {
	w, hold := absent(t)
	w.must(w.together("nia", actRemoval(hold, "oskar")))
	for _, by := range []string{"nia", "oskar"} {
		v := *w
		v.s, v.keys = w.s.Clone(), map[string]ed25519.PrivateKey{}
		for k, p := range w.keys {
			v.keys[k] = p
		}
		v.reissue(by, "tomas")
		v.refusedWith(v.direct("tomas", actAcknowledge(hold)), ledger.KeyFromThem)
	}
	w.reissue("petra", "tomas")
	w.must(w.direct("tomas", actAcknowledge(hold)))
}
