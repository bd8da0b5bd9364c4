package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestFoundLiveUnderWrongJob: energy found, with the job mistyped, by record or by
// reading: everybody sees it, and the drawing it was found on is suspect.
func TestFoundLiveUnderWrongJob(t *testing.T) {
	for name, act := range map[string]*recordv1.Record{
		"record":  actFoundLive("bot-1", motor),
		"reading": actReading("bot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 480),
	} {
		w, _ := ready(t)
		f := w.must(w.journal("stonebend", "dov", act)).GetRef()
		if len(w.s.Alarms) == 0 {
			t.Errorf("%s: no alarm", name)
		}
		if w.mayStart() {
			t.Errorf("%s: work may start on boot-1, whose motor was found live", name)
		}
		w.must(w.journal("stonebend", "ravi", actCorrect(f)))
		if w.mayStart() {
			t.Errorf("%s: the readings from before the fault still count", name)
		}
	}
}

// TestFoundLiveOnOtherJob: a fault found by another crew voids the readings of
// every job on that drawing.
func TestFoundLiveOnOtherJob(t *testing.T) {
	w, _ := ready(t)
	w.must(w.journal("stonebend", "mara", actJob("paint-1", "tomas", zone, feeder, control)))
	f := w.must(w.journal("stonebend", "dov", actFoundLive("paint-1", motor))).GetRef()
	w.must(w.journal("stonebend", "ravi", actCorrect(f)))
	if w.mayStart() {
		t.Error("readings taken before the fault was found still count on the neighbouring job")
	}
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.prove()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, "NOT_WALKED", "stonebend") {
		t.Errorf("the drawing that misled somebody supports work without a new walk: %v", cs)
	}
	w.must(w.walk("ravi", "stonebend"))
	w.must(w.walk("ravi", "millrow"))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); len(cs) > 0 {
		t.Errorf("everything was taken again: %v", cs)
	}
}

// TestInsideTooEarly: whoever signs on before work may start is told to stop, on
// every screen; a lock taken off while signed on, and a second sign-on, are
// flagged; and an unknown name in a notice tells nobody.
func TestInsideTooEarly(t *testing.T) {
	w, holds := isolated(t)
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	if !flagged(on, "WORK_MAY_NOT_START") {
		t.Errorf("lena goes in before work may start: flags %v", on.GetFlags())
	}
	j := w.s.Jobs["boot-1"]
	if j.Stopped == nil || w.s.StageOf(j) != recordv1.Stage_STAGE_STOPPED || len(w.s.Alarms) != 1 {
		t.Errorf("lena is inside before anything is proved: stopped %v, stage %v, alarms %v", j.Stopped, w.s.StageOf(j), w.s.Alarms)
	}
	if o := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))); !flagged(o, "SIGNED_ON_TWICE") {
		t.Error("a second sign-on is not flagged")
	}
	if o := w.must(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder]))); !flagged(o, "STILL_SIGNED_ON") {
		t.Error("a lock taken off from inside is not flagged")
	}
	w.must(w.journal("stonebend", "lena", actSignOff(on.GetRef())))
	if o := w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dova"))); !flagged(o, ledger.StrangerTold) {
		t.Error("telling nobody of that name is not flagged")
	}
}

// TestOverLimitInOtherWords: energy read with the wrong kind or medium named is
// still energy.
func TestOverLimitInOtherWords(t *testing.T) {
	for name, r := range map[string]*recordv1.Record{
		"volts by a gauge":          actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_GAUGE, 400),
		"volts on motion":           actReading("boot-1", motor, recordv1.Medium_MEDIUM_MOTION, recordv1.ReadingKind_READING_KIND_METER, 400),
		"negative volts":            actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, -400),
		"pressure nobody asked":     actReading("boot-1", motor, recordv1.Medium_MEDIUM_AIR, recordv1.ReadingKind_READING_KIND_GAUGE, 700),
		"pressure, medium left out": actReading("boot-1", "stonebend/leg", recordv1.Medium_MEDIUM_UNSPECIFIED, recordv1.ReadingKind_READING_KIND_GAUGE, 700),
	} {
		w, _ := ready(t)
		w.must(w.journal("stonebend", "ravi", r))
		if w.mayStart() {
			t.Errorf("%s: not found live, and work may start", name)
		}
	}
}

// TestNotClearFromAnybody: whoever says that tools are still in is heard.
func TestNotClearFromAnybody(t *testing.T) {
	w := released(t)
	w.must(w.journal("stonebend", "dov", &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: "boot-1", GuardsOn: true, PeopleClear: true}}}))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "NOT_CLEAR")
}

// TestStageWords: no word on the screen promises more than the records give.
func TestStageWords(t *testing.T) {
	w := released(t)
	w.approve("start-1", "boot-1", feeder, control)
	stage := func() recordv1.Stage { return w.s.StageOf(w.s.Jobs["boot-1"]) }
	if stage() != recordv1.Stage_STAGE_APPROVED {
		t.Fatalf("approved: %v", stage())
	}
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	if s := stage(); s == recordv1.Stage_STAGE_APPROVED || s == recordv1.Stage_STAGE_RELEASED || s == recordv1.Stage_STAGE_CLEARED {
		t.Errorf("lena is in the zone, and the job says %v", s)
	}
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.journal("stonebend", "lena", actFoundLive("boot-1", motor)))
	if s := stage(); s != recordv1.Stage_STAGE_STOPPED {
		t.Errorf("found live under an approved request: %v", s)
	}
	// Locks off without the area cleared is not "released".
	w2, holds := ready(t)
	for k, h := range holds {
		w2.must(w2.journal("stonebend", k[:4], actRelease(h)))
	}
	if s := w2.s.StageOf(w2.s.Jobs["boot-1"]); s == recordv1.Stage_STAGE_RELEASED || s == recordv1.Stage_STAGE_CLEARED {
		t.Errorf("tools may be in, and the job says %v", s)
	}
}

// TestStopSaysTheWorst: somebody goes back in after a test with the points left
// closed. What the alarm says first is that they are, not who was not told of it.
func TestStopSaysTheWorst(t *testing.T) {
	w, holds := asked(t)
	w.all(holds, "jog-1")
	w.told()
	w.must(w.journal("stonebend", "mara", actEnergise("jog-1", feeder)))
	w.must(w.journal("stonebend", "lena", actSignOn("boot-1")))
	if f := w.s.Jobs["boot-1"].Stopped; !code.Is(f, ledger.NotOpen) || f.GetSubject() != feeder {
		t.Errorf("lena is inside behind a closed feeder, and the alarm is %v", f)
	}
	if st := w.s.JobView("boot-1", w.now).GetStage(); st != recordv1.Stage_STAGE_STOPPED {
		t.Errorf("the job is shown as %v", st)
	}
}
