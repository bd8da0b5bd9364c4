package ledger_test

import "testing"

// TestOutsiderByAnyRole: who works for another firm is an outsider, whatever role
// the co-op gave them, 1910.147(f)(2)(i).
func TestOutsiderByAnyRole(t *testing.T) {
	w, _ := ready(t)
	p := person("hal", false, authorised)
	p.Employer = "Harrow Millwrights"
	w.joinPerson(p)
	w.must(w.journal("stonebend", "hal", actLock(feeder, "", "boot-1")))
	w.must(w.journal("millrow", "hal", actLock(control, "", "boot-1")))
	if o := w.must(w.journal("stonebend", "hal", actSignOn("boot-1"))); !flagged(o, "NO_EXCHANGE") {
		t.Errorf("hal of another firm goes in and nothing was exchanged with it: %v", o.GetFlags())
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NO_EXCHANGE", "hal") {
		t.Errorf("hal of another firm is on, nothing was exchanged with it, and work goes on: %v", cs)
	}
	for _, y := range []string{"stonebend", "millrow"} {
		w.must(w.together("mara", actExchange(y, "Harrow Millwrights", "hal", w.now)))
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
		t.Errorf("exchanged, and work waits: %v", cs)
	}
}
