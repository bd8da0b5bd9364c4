package ledger_test

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestEquipmentLockHidesNobodysLeaving: an equipment lock protects nobody: the last
// personal lock that comes off an unfinished job is told, 1910.147(f)(4).
func TestEquipmentLockHidesNobodysLeaving(t *testing.T) {
	w, holds := ready(t)
	w.must(w.journal("stonebend", "mara", actEquipment(feeder, "", w.now+1e9)))
	var o *recordv1.Outcome
	for _, who := range []string{"ravi", "lena"} {
		for _, p := range []string{feeder, control} {
			o = w.must(w.journal("stonebend", who, actRelease(holds[who+" "+p])))
		}
	}
	if !flagged(o, "PROTECTION_ENDED") {
		t.Errorf("the last personal lock came off the open job: %v", o.GetFlags())
	}
}
