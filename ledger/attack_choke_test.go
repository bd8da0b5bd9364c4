package ledger_test

import "testing"

// TestChokeClearedUnseen: a word written before the choke was known where it was
// written is about another one, however its reference was guessed.
func TestChokeClearedUnseen(t *testing.T) {
	w := drawn(t)
	seen := w.s.Size()
	c := w.must(w.journal("stonebend", "dov", actChoked(zone))).GetRef()
	w.refusedWith(w.behind("millrow", "ravi", seen, actClearChoke(c, true)), "NOT_SEEN")
	// Dug out, as its capture says, before the choke was found.
	w.refusedWith(w.captured("stonebend", "ravi", w.s.Chokes[c].At.Time-60_000, actClearChoke(c, true)), "NOT_SEEN")
	w.must(w.journal("stonebend", "ravi", actClearChoke(c, true)))
}
