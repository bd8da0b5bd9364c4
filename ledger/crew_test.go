package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (w *world) member(job, person string) *recordv1.MemberView {
	w.t.Helper()
	for _, m := range w.s.JobView(job, w.now).GetMembers() {
		if m.GetPerson() == person {
			return m
		}
	}
	w.t.Fatalf("%s is not among the members of %s", person, job)
	return nil
}

// TestOneCoordinator: several crews have one coordinator, and a second is refused,
// 1910.147(f)(3)(ii)(C); each crew has one responsible employee, (A).
func TestOneCoordinator(t *testing.T) {
	w, _ := ready(t)
	j := w.s.Jobs["boot-1"]
	w.must(w.direct("mara", actCrew("boot-1", "electricians", "tomas")))
	if !has(w.s.MissingForWork(j), ledger.NoCoordinator, "boot-1") {
		t.Error("two crews and nobody coordinates them")
	}
	w.refusedWith(w.direct("mara", actCoordinator("boot-1", "lena", "")), ledger.NotAuthorised)
	w.must(w.direct("mara", actCoordinator("boot-1", "mara", "")))
	if cs := w.s.MissingForWork(j); len(cs) > 0 {
		t.Errorf("coordinated: %v", cs)
	}
	w.refusedWith(w.direct("mara", actCoordinator("boot-1", "ravi", "")), ledger.TwoCoordinators)
	w.refusedWith(w.direct("mara", actCoordinator("boot-1", "ravi", "tomas")), ledger.TwoCoordinators)
	w.must(w.direct("mara", actCoordinator("boot-1", "ravi", "mara")))
	w.refusedWith(w.direct("mara", actCrew("boot-1", "electricians", "mara")), ledger.TwoResponsible)
	w.refusedWith(w.direct("mara", actCrew("boot-1", "millwrights", "mara", "tomas")), ledger.InTwoCrews)
	w.refusedWith(w.direct("mara", actCrew("boot-1", "sweepers", "dov")), ledger.NotAuthorised)
	w.must(w.direct("mara", actCrew("boot-1", "electricians", "tomas", "mara")))
	if o := w.must(w.journal("stonebend", "mara", actSignOn("boot-1"))); flagged(o, ledger.NotOnCrew) {
		t.Error("mara is on a crew and is called a stranger")
	}
	w.must(w.direct("nia", actTraining("tomas", classAuthorised, 1, 2)))
	if !has(w.s.MissingForWork(j), ledger.TrainingLapsed, "tomas") {
		t.Error("a crew's responsible employee has no training, and nobody says so")
	}
}

// TestExposure: the status of each member is on, off or unknown; a lock without a
// sign-on is unknown, 1910.147(f)(3)(ii)(B).
func TestExposure(t *testing.T) {
	w, holds := ready(t)
	w.must(w.direct("mara", actCrew("boot-1", "electricians", "tomas")))
	if e := w.member("boot-1", "tomas").GetExposure(); e != recordv1.Exposure_EXPOSURE_OFF {
		t.Errorf("tomas, no lock, no sign-on: %v", e)
	}
	if e := w.member("boot-1", "lena").GetExposure(); e != recordv1.Exposure_EXPOSURE_UNSPECIFIED {
		t.Errorf("lena, a lock and no sign-on: %v", e)
	}
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	if e := w.member("boot-1", "lena").GetExposure(); e != recordv1.Exposure_EXPOSURE_ON {
		t.Errorf("lena, signed on: %v", e)
	}
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])))
	w.must(w.journal("millrow", "lena", actRelease(holds["lena "+control])))
	if e := w.member("boot-1", "lena").GetExposure(); e != recordv1.Exposure_EXPOSURE_OFF {
		t.Errorf("lena, out and locks off: %v", e)
	}
}

// TestVerificationOffered: each member verified or was offered to and declined;
// who was not asked shows, and an answer from before an opening is stale (OSHA
// letter of 27 July 2023).
func TestVerificationOffered(t *testing.T) {
	w, _ := ready(t)
	if m := w.member("boot-1", "lena"); m.GetVerification() != 0 {
		t.Error("lena was not asked, and an answer shows")
	}
	w.must(w.journal("stonebend", "lena", actAnswer("boot-1", declined)))
	w.must(w.journal("stonebend", "ravi", actAnswer("boot-1", verified)))
	if a, b := w.member("boot-1", "lena"), w.member("boot-1", "ravi"); a.GetVerification() != declined || b.GetVerification() != verified || b.GetVerificationStale() {
		t.Errorf("lena %v, ravi %v", a, b)
	}
	if o := w.must(w.journal("stonebend", "tomas", actAnswer("boot-1", verified))); !flagged(o, ledger.NotOnCrew) {
		t.Error("a stranger's answer is not flagged")
	}
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	if !w.member("boot-1", "ravi").GetVerificationStale() {
		t.Error("the point was opened anew, and the verification from before still shows as good")
	}
}

// TestComplexLockout: a job over two yards is complex by definition; NFPA 70E 120.4
// (from memory).
func TestComplexLockout(t *testing.T) {
	w := drawn(t)
	w.openJob()
	if c := w.s.JobView("boot-1", w.now).GetComplex(); len(c) != 1 || !code.Is(c[0], ledger.SeveralYards) || !slices.Equal(code.Names(c[0], "yards"), []string{"millrow", "stonebend"}) {
		t.Errorf("points at stonebend and millrow: %v", c)
	}
	w.must(w.publish("nia", withFan(2)))
	fan := w.job("fan-1", "ravi", fanFeed)
	fan.GetOpenJob().Zone = fanZone
	w.must(w.journal("stonebend", "mara", fan))
	if c := w.s.JobView("fan-1", w.now).GetComplex(); len(c) > 0 {
		t.Errorf("one yard, one crew, one employer: %v", c)
	}
}

// TestProtectionEnded: a release that leaves an unfinished job with nobody on it is
// flagged and raised, 1910.147(f)(4); a new lock or a clear area ends the alarm.
func TestProtectionEnded(t *testing.T) {
	alarmed := func(w *world) bool {
		for _, a := range w.s.Alarms {
			if a.Code == string(ledger.ProtectionEnded) && a.Subject == "boot-1" {
				return true
			}
		}
		return false
	}
	order := []string{"ravi " + feeder, "ravi " + control, "lena " + feeder, "lena " + control}
	w, holds := ready(t)
	for i, k := range order {
		o := w.must(w.journal("stonebend", k[:4], actRelease(holds[k])))
		if last := i == len(order)-1; flagged(o, ledger.ProtectionEnded) != last || alarmed(w) != last {
			t.Errorf("release %d of 4: flagged %v, alarm %v", i+1, o.GetFlags(), alarmed(w))
		}
	}
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	if alarmed(w) {
		t.Error("ravi is locked on again, and the alarm stays")
	}
	w, holds = ready(t)
	w.must(w.journal("stonebend", "ravi", actClear("boot-1")))
	for _, k := range order {
		if o := w.must(w.journal("stonebend", k[:4], actRelease(holds[k]))); flagged(o, ledger.ProtectionEnded) {
			t.Errorf("the area is clear, the work done, and the release of %s is flagged", k)
		}
	}
}
