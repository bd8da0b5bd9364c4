package ledger_test

import (
	"testing"

	"yardhasp/ledger"
)

// TestProcedureApprovedByAGivenKey: the author gives another supervisor a key and
// approves with it what they wrote; or writes with a key that they gave.
func TestProcedureApprovedByAGivenKey(t *testing.T) {
	w, _ := absent(t)
	w.must(w.direct("nia", actProcedure(1)))
	w.reissue("nia", "mara")
	w.refusedWith(w.direct("mara", actApprove(1)), ledger.OneHand)
	w.must(w.direct("oskar", actApprove(1)))
	w.must(w.direct("mara", actProcedure(2)))
	w.refusedWith(w.direct("nia", actApprove(2)), ledger.OneHand)
	w.must(w.direct("petra", actApprove(2)))
}

// TestTrainedByAGivenKey: nobody certifies their own training with a key that they
// gave somebody else, 1910.147(c)(7)(iv).
func TestTrainedByAGivenKey(t *testing.T) {
	w, _ := absent(t)
	w.reissue("petra", "mara")
	w.refusedWith(w.direct("mara", actTraining("petra", classAuthorised, w.now, w.now+100*day)), ledger.KeyFromThem)
	w.must(w.direct("mara", actTraining("ravi", classAuthorised, w.now, w.now+100*day)))
}

// TestInspectedByAGivenKey: who used the procedure gives an inspector a key and
// inspects with it, 1910.147(c)(6)(i)(A).
func TestInspectedByAGivenKey(t *testing.T) {
	w := approved(t)
	w.crew()
	w.must(w.journal("stonebend", "mara", w.job("boot-2", "petra", feeder, control)))
	w.reissue("petra", "wim")
	w.refusedWith(w.direct("wim", actInspect(1, w.now, "ravi", "lena")), ledger.KeyFromThem)
	w.reissue("oskar", "wim")
	w.must(w.direct("wim", actInspect(1, w.now, "ravi", "lena")))
}

// TestExchangedByAGivenKey: the co-op's side gives the contractor's person a key
// and signs for both, 1910.147(f)(2)(i).
func TestExchangedByAGivenKey(t *testing.T) {
	w, _ := absent(t)
	p := person("hal", false, contractor)
	p.Employer = "Harrow Millwrights"
	w.joinPerson(p)
	w.reissue("nia", "hal")
	w.refusedWith(w.together("nia", actExchange("stonebend", "Harrow Millwrights", "hal", w.now)), ledger.OneHand)
	w.must(w.together("mara", actExchange("stonebend", "Harrow Millwrights", "hal", w.now)))
}
