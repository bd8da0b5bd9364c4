package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	observes  = recordv1.Duty_DUTY_OBSERVER
	fireWatch = recordv1.Duty_DUTY_FIRE_WATCH
)

// TestWatchOfAClosedJob: it ends with the job. Else it would stay for ever, and
// stand against every watch of that person.
func TestWatchOfAClosedJob(t *testing.T) {
	w := drawn(t)
	w.must(w.journal("stonebend", "mara", actJob("boot-1", "ravi", zone, feeder, control)))
	w.must(w.journal("stonebend", "tomas", actStand("boot-1", fireWatch)))
	w.must(w.journal("stonebend", "mara", actClose("boot-1")))
	for _, v := range w.s.Watches {
		if !v.Off.Set() {
			t.Errorf("the watch %s of a closed job goes on", v.Ref)
		}
	}
	// decisions.md 24: what ended is forgotten 10,000 entries later, refused ones too.
	unsigned := ledger.DirectEntry(signed(t, seal.RecordDomain, marshal(t, w.record("dov", actRequest("x", "none", w.now+1e7, feeder)))))
	for range 10_005 {
		w.put(unsigned)
	}
	if n := len(w.s.Watches); n != 0 {
		t.Errorf("%d watches stay in the state", n)
	}
}
