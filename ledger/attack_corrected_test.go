package ledger_test

import (
	"testing"

	"yardhasp/ledger"
)

// TestCorrectedUnseen: nobody can have corrected what was not known where they wrote.
func TestCorrectedUnseen(t *testing.T) {
	w, _ := ready(t)
	for _, job := range []string{"boot-1", "a-slip"} {
		seen := w.s.Size()
		f := w.must(w.journal("stonebend", "dov", actFoundLive(job, motor))).GetRef()
		w.refusedWith(w.behind("millrow", "ravi", seen, actCorrect(f)), ledger.FoundNotSeen)
		w.must(w.journal("millrow", "ravi", actCorrect(f)))
	}
	seen := w.s.Size()
	f := w.must(w.journal("stonebend", "dov", actFoundStarted("the leg was jogged", feeder))).GetRef()
	w.refusedWith(w.behind("millrow", "ravi", seen, actCorrect(f)), ledger.FoundNotSeen)
	w.must(w.journal("millrow", "ravi", actCorrect(f)))
}
