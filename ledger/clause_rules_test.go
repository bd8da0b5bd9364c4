package ledger_test

import (
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Rules of 29 CFR 1910.147(c), (d) and (f) and 1910.333(b)(2) that no story of
// another test shows. The clause stands beside each.

// TestDevicesAreSingular: 1910.147(c)(5)(ii), one device, one person, one place. A
// lock is recorded whatever it breaks, and says what it breaks.
func TestDevicesAreSingular(t *testing.T) {
	w := drawn(t)
	w.openJob()
	w.refusedWith(w.direct("nia", actPadlock("ravi-1", "lena")), ledger.PadlockExists)
	w.refusedWith(w.direct("nia", actPadlock("nobody-1", "nobody")), ledger.UnknownPerson)
	spare := actPadlock("lena-3", "lena")
	spare.GetRegisterPadlock().KeysCut = 2
	if o := w.must(w.direct("nia", spare)); !flagged(o, ledger.SpareKey) {
		t.Error("a second key that somebody else may have is not flagged")
	}
	flags := []code.Code{ledger.NoPadlock, ledger.UnknownPadlock, ledger.OthersPadlock, ledger.SpareKey, ledger.TwoPlaces}
	for _, c := range []struct {
		name, point, lock string
		want              code.Code
	}{
		{"her own", control, "lena-1", ""},
		{"her own, in use elsewhere", feeder, "lena-1", ledger.TwoPlaces},
		{"none named", feeder, "", ledger.NoPadlock},
		{"one that nobody registered", feeder, "lena-99", ledger.UnknownPadlock},
		{"another's", feeder, "ravi-1", ledger.OthersPadlock},
		{"one with two keys", feeder, "lena-3", ledger.SpareKey},
	} {
		o := w.must(w.journal("stonebend", "lena", actLock(c.point, c.lock, "boot-1")))
		if !w.s.Holds[o.GetRef()].Active() {
			t.Errorf("%s: the lock is not taken", c.name)
		}
		for _, f := range flags {
			if flagged(o, f) != (f == c.want) {
				t.Errorf("%s: flags %v, want %q of them alone", c.name, o.GetFlags(), c.want)
			}
		}
	}
}

// TestWhoLocks: 1910.147(c)(7)(i) and (c)(8): a lock of somebody whose training
// ended, of an affected employee, or of one not on the job is taken and flagged.
// With the first on the zone no work starts.
func TestWhoLocks(t *testing.T) {
	w, holds := ready(t)
	for _, c := range []struct {
		who, lock string
		want      code.Code
	}{
		{"lena", "lena-1", ""}, {"dov", "", ledger.NotPermitted}, {"tomas", "tomas-1", ledger.NotOnCrew},
	} {
		o := w.must(w.journal("stonebend", c.who, actLock(feeder, c.lock, "boot-1")))
		for _, f := range []code.Code{ledger.NotPermitted, ledger.NotOnCrew, ledger.TrainingLapsed} {
			if want := f == c.want || c.who == "dov" && f == ledger.NotOnCrew; flagged(o, f) != want {
				t.Errorf("%s locks: flags %v, %s wanted %v", c.who, o.GetFlags(), f, want)
			}
		}
		if !w.s.Holds[o.GetRef()].Active() {
			t.Errorf("the lock of %s is not taken", c.who)
		}
	}
	if !w.mayStart() || holds["lena "+feeder] == "" {
		t.Fatalf("locks of others stop work: %v", w.s.MissingForWork(w.s.Jobs["boot-1"]))
	}
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "lena", UntilUnixMs: w.now, Qualified: true}}}))
	for _, act := range []*recordv1.Record{actLock(control, "lena-2", "boot-1"), actSignOn("boot-1")} {
		if o := w.must(w.journal("stonebend", "lena", act)); !flagged(o, ledger.TrainingLapsed) {
			t.Errorf("lena's training ended: flags %v", o.GetFlags())
		}
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.TrainingLapsed, "lena") {
		t.Errorf("she is on the zone and work may go on: %v", cs)
	}
}

// TestTrainingIsCertified: 1910.147(c)(7)(iv), by somebody else, for a person there
// is.
func TestTrainingIsCertified(t *testing.T) {
	w := drawn(t)
	train := func(by, who string) *recordv1.Outcome {
		return w.direct(by, &recordv1.Record{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: who, UntilUnixMs: w.now + 1e9}}})
	}
	w.refusedWith(train("mara", "mara"), ledger.OwnTraining)
	w.refusedWith(train("nia", "nobody"), ledger.UnknownPerson)
	w.refusedWith(train("ravi", "tomas"), ledger.NotPermitted)
	w.must(train("nia", "mara"))
	if got := w.s.People["mara"].TrainedUntil; got <= w.now {
		t.Errorf("mara is trained until %d, now is %d", got, w.now)
	}
}

// TestAffectedAreTold: 1910.147(c)(9), somebody is named to be told, and is told
// before work starts.
func TestAffectedAreTold(t *testing.T) {
	w := drawn(t)
	nobody := actJob("boot-2", "ravi", zone, feeder, control)
	nobody.GetOpenJob().Affected = nil
	w.refusedWith(w.journal("stonebend", "mara", nobody), ledger.NoAffected)
	w.openJob()
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotToldBefore, "dov") {
		t.Errorf("dov was not told: %v", cs)
	}
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotToldBefore, "dov") {
		t.Errorf("told of the end, he counts as told of the beginning: %v", cs)
	}
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NotToldBefore, "dov") {
		t.Errorf("told, and he counts as not told: %v", cs)
	}
}

// TestShutDownFirst: 1910.147(d)(2), no work before an orderly shut-down is recorded
// by one who may.
func TestShutDownFirst(t *testing.T) {
	w := drawn(t)
	w.openJob()
	w.must(w.journal("stonebend", "lena", actShutDown("boot-1")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotShutDown, zone) {
		t.Errorf("a contractor's word for the co-op's shut-down counts: %v", cs)
	}
	w.must(w.journal("stonebend", "dov", actShutDown("boot-1")))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NotShutDown, zone) {
		t.Errorf("shut down by who runs it, and it does not count: %v", cs)
	}
}

// TestOneResponsible: 1910.147(f)(3)(ii)(A) and (C), one authorised employee of the
// co-op has the job, at whatever yards its points are; a second one is not opened
// under the same name.
func TestOneResponsible(t *testing.T) {
	w := drawn(t)
	for _, who := range []string{"dov", "lena", "nia"} {
		w.refusedWith(w.journal("stonebend", "mara", actJob("boot-1", who, zone, feeder, control)), ledger.NotAuthorised)
	}
	w.openJob()
	w.refusedWith(w.journal("millrow", "mara", actJob("boot-1", "tomas", zone, feeder, control)), ledger.JobExists)
	if got := w.s.Jobs["boot-1"].Responsible; got != "ravi" {
		t.Errorf("responsible: %s", got)
	}
}

// TestNothingComesOutOfTheBox: 1910.147(f)(3)(ii)(D), no key leaves the box while
// anybody's own lock is on it, and none goes in from a point that is on.
func TestNothingComesOutOfTheBox(t *testing.T) {
	w := drawn(t)
	const box = "stonebend/box-1"
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: box, Holes: 6}}}))
	put := &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: box, Point: feeder}}}
	take := &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: box, Point: feeder}}}
	w.openJob()
	w.refusedWith(w.journal("stonebend", "mara", put), ledger.KeyOfLivePoint)
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("stonebend", "mara", put))
	a := w.must(w.journal("stonebend", "ravi", actLockBox(box, "ravi-1", "boot-1"))).GetRef()
	b := w.must(w.journal("stonebend", "lena", actLockBox(box, "lena-1", "boot-1"))).GetRef()
	w.refusedWith(w.journal("stonebend", "mara", take), ledger.HoldStands)
	w.must(w.journal("stonebend", "ravi", actRelease(a)))
	w.refusedWith(w.journal("stonebend", "mara", take), ledger.HoldStands)
	w.must(w.journal("stonebend", "lena", actRelease(b)))
	w.must(w.journal("stonebend", "mara", take))
}

// TestReadingRules: 1910.333(b)(2)(iv)(B) and NFPA 70E 120.5(7): a qualified person,
// phase to phase and phase to ground, of the part that the drawing asks for. A
// reading short of it is kept and does not count.
func TestReadingRules(t *testing.T) {
	meter := func(change func(*recordv1.Reading)) *recordv1.Record {
		r := actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0)
		change(r.GetReading())
		return r
	}
	for _, c := range []struct {
		name, by string
		want     code.Code
		change   func(*recordv1.Reading)
	}{
		{"by nobody qualified", "tomas", ledger.NotQualified, func(*recordv1.Reading) {}},
		{"by an affected employee", "dov", ledger.ReaderMayNot, func(*recordv1.Reading) {}},
		{"not phase to phase", "ravi", ledger.ReadingIncomplete, func(r *recordv1.Reading) { r.PhaseToPhase = false }},
		{"not phase to ground", "ravi", ledger.ReadingIncomplete, func(r *recordv1.Reading) { r.PhaseToGround = false }},
		{"of another part", "ravi", ledger.ReadingNotAsked, func(r *recordv1.Reading) { r.Part = "stonebend/lamp" }},
		{"by a try", "ravi", ledger.ReadingNotAsked, func(r *recordv1.Reading) { r.Kind = recordv1.ReadingKind_READING_KIND_TRY }},
	} {
		w, _ := isolated(t)
		if o := w.must(w.journal("stonebend", c.by, meter(c.change))); !flagged(o, c.want) || slices.ContainsFunc(o.GetFlags(), func(f *recordv1.Finding) bool { return !code.Is(f, c.want, ledger.NotPermitted) }) {
			t.Errorf("%s: flags %v, want %s", c.name, o.GetFlags(), c.want)
		}
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotProved, motor) {
			t.Errorf("%s: it counts: %v", c.name, cs)
		}
		w.must(w.journal("stonebend", "lena", meter(func(*recordv1.Reading) {})))
		if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NotProved, motor) {
			t.Errorf("by a qualified contractor, whole, it does not count: %v", cs)
		}
	}
}

// TestDrawingsAreWalked: NFPA 70E 120.5(1), supplies are found from drawings that
// somebody qualified held against the steel.
func TestDrawingsAreWalked(t *testing.T) {
	w, _ := ready(t)
	stone, _ := drawings()
	stone.Revision = 2
	w.must(w.publish("nia", stone))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.NotWalked, "stonebend") {
		t.Errorf("a drawing that nobody walked carries work: %v", cs)
	}
	w.refusedWith(w.walk("tomas", "stonebend"), ledger.NotPermitted)
	w.must(w.walk("lena", "stonebend"))
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); has(cs, ledger.NotWalked, "stonebend") {
		t.Errorf("walked, and it counts as not walked: %v", cs)
	}
}

// TestOnlyStoresOfThePlan: 1910.147(d)(5)(i), what is released is a store that the
// drawing shows behind the locks; another one's release counts for nothing.
func TestOnlyStoresOfThePlan(t *testing.T) {
	w, _ := isolated(t)
	w.now += 120_000
	if o := w.must(w.journal("stonebend", "ravi", actStored("boot-1", "stonebend/other-buckets"))); !flagged(o, ledger.UnknownStore) {
		t.Errorf("a store that nobody drew: flags %v", o.GetFlags())
	}
	if cs := w.s.MissingForWork(w.s.Jobs["boot-1"]); !has(cs, ledger.Stored, bucket) {
		t.Errorf("the loaded buckets count as released: %v", cs)
	}
	if o := w.must(w.journal("stonebend", "dov", actStored("boot-1", bucket))); !flagged(o, ledger.NotPermitted) || !has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.Stored, bucket) {
		t.Errorf("released by an affected employee, it counts: flags %v", o.GetFlags())
	}
}
