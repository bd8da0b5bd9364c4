package ledger_test

import (
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestStopSaysTheWorst: somebody goes back in after a test with the points left
// closed. What the alarm says first is that they are, not who was not told of it.
func TestStopSaysTheWorst(t *testing.T) {
	w, holds := asked(t)
	w.all(holds, "jog-1")
	w.told()
	w.must(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)))
	w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	if a := alarmed(w.s, "STOPPED", "boot-1"); !strings.Contains(a, feeder+" is not recorded open") {
		t.Errorf("lena is inside behind a closed feeder, and the alarm is %q", a)
	}
	if st := w.s.JobView("boot-1", w.now).GetStage(); st != recordv1.Stage_STAGE_STOPPED {
		t.Errorf("the job is shown as %v", st)
	}
}
