package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func fullTag() *recordv1.Tag {
	return &recordv1.Tag{Only: true, Legend: recordv1.Legend_LEGEND_DO_NOT_ENERGISE, TiePounds: 50, ReadableMm: 1524,
		Means: []recordv1.ExtraMeans{recordv1.ExtraMeans_EXTRA_MEANS_ISOLATING_ELEMENT_REMOVED}}
}

// tagged is a job whose feeder takes no lock: registered and described so before
// it was drawn. ravi hangs the tag there and his lock on the other point.
func tagged(t *testing.T, lockable bool, demonstration string, tag *recordv1.Tag) (*world, *recordv1.Outcome) {
	w := coop(t)
	w.must(w.direct("nia", actPoint(feeder)))
	w.must(w.direct("nia", actDescribe(&recordv1.DescribePoint{Point: feeder, NotLockable: !lockable, Demonstration: demonstration, Why: "toggle with no hole"})))
	stone, mill := drawings()
	w.must(w.publish("nia", mill))
	w.must(w.publish("nia", stone))
	w.must(w.walk("ravi", "millrow"))
	w.must(w.walk("ravi", "stonebend"))
	w.must(w.direct("nia", actPadlock("ravi-2", "ravi")))
	w.openJob()
	w.must(w.journal("stonebend", "mara", actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("stonebend", "ravi", actShutDown("boot-1")))
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-2", "boot-1")))
	o := w.must(w.journal("stonebend", "ravi", actTag(feeder, "boot-1", tag)))
	w.now += 120_000
	w.must(w.journal("stonebend", "ravi", actStored("boot-1", bucket)))
	w.prove()
	return w, o
}

// TestTagAlone: on a device that takes no lock a tag with a legend, meeting the
// rules for tags, and at least one extra means, 1910.147(c)(2)(i), (c)(3)(ii) and
// (c)(5)(iii), 1910.333(b)(2)(iii)(C)-(D); on one that takes a lock the written
// demonstration too, (c)(2)(ii). The tag is recorded always; work waits.
func TestTagAlone(t *testing.T) {
	with := func(change func(tag *recordv1.Tag)) *recordv1.Tag {
		tag := fullTag()
		change(tag)
		return tag
	}
	for _, c := range []struct {
		name          string
		lockable      bool
		demonstration string
		tag           *recordv1.Tag
		missing       code.Code // "" when work may start
	}{
		{"all there", false, "", fullTag(), ""},
		{"a padlock in its place", false, "", nil, ledger.NoLockGoesOn},
		{"a tag with a lock where none goes", false, "", with(func(t *recordv1.Tag) { t.Only = false }), ledger.NoLockGoesOn},
		{"no legend", false, "", with(func(t *recordv1.Tag) { t.Legend = 0 }), ledger.TagLacks},
		{"no extra means", false, "", with(func(t *recordv1.Tag) { t.Means = nil }), ledger.TagLacks},
		// 50 lb is the least at which a tie may let go, (c)(5)(ii)(C)(2): either side of it.
		{"tie of 49 lb", false, "", with(func(t *recordv1.Tag) { t.TiePounds = 49 }), ledger.TagLacks},
		{"tie not checked", false, "", with(func(t *recordv1.Tag) { t.TiePounds = 0 }), ledger.TagLacks},
		{"tie of 51 lb", false, "", with(func(t *recordv1.Tag) { t.TiePounds = 51 }), ""},
		// 5 ft are 1524 mm (NIST SP 811, B.8, from memory), 1910.145(f)(4)(ii).
		{"readable at 1523 mm", false, "", with(func(t *recordv1.Tag) { t.ReadableMm = 1523 }), ledger.TagLacks},
		{"readable at 1525 mm", false, "", with(func(t *recordv1.Tag) { t.ReadableMm = 1525 }), ""},
		{"lockable, no demonstration", true, "", fullTag(), ledger.TagLacks},
		{"lockable, one that nobody recorded", true, "", with(func(t *recordv1.Tag) { t.Demonstration = "d-1" }), ledger.TagLacks},
		{"lockable, another one", true, "d-2", with(func(t *recordv1.Tag) { t.Demonstration = "d-1" }), ledger.TagLacks},
		{"lockable, not named", true, "d-1", fullTag(), ledger.TagLacks},
		{"lockable, demonstrated", true, "d-1", with(func(t *recordv1.Tag) { t.Demonstration = "d-1" }), ""},
		{"lockable, demonstrated, no extra means", true, "d-1", with(func(t *recordv1.Tag) { t.Demonstration, t.Means = "d-1", nil }), ledger.TagLacks},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, o := tagged(t, c.lockable, c.demonstration, c.tag)
			if !w.s.Holds[o.GetRef()].Active() {
				t.Fatal("the tag was not recorded")
			}
			cs := w.s.MissingForWork(w.s.Jobs["boot-1"])
			may := c.missing == ""
			if may && len(cs) > 0 || !may && !has(cs, c.missing, feeder) {
				t.Errorf("work may start %v, missing %v", len(cs) == 0, cs)
			}
			if !may && !flagged(o, c.missing) || may && code.Has(o.GetFlags(), ledger.HoldsNothing...) {
				t.Errorf("flags %v", o.GetFlags())
			}
			v := w.onBoard(o.GetRef())
			if v.GetTagOnly() != c.tag.GetOnly() || v.GetGuards() != may || !proto.Equal(v.GetTag(), c.tag) {
				t.Errorf("the board says tag only %v, guards %v, tag %v", v.GetTagOnly(), v.GetGuards(), v.GetTag())
			}
			w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder)), ledger.HoldStands)
		})
	}
}

// TestTagOnBox: a tag in the place of a lock on a box holds no key in.
func TestTagOnBox(t *testing.T) {
	w, _ := isolated(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-1", Holes: 6}}}))
	w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: "stonebend/box-1", Point: feeder}}}))
	w.must(w.direct("nia", actDescribe(&recordv1.DescribePoint{Point: feeder, Demonstration: "d-1", Why: "reviewed"})))
	act := actLockBox("stonebend/box-1", "", "boot-1")
	act.GetLock().Tag = fullTag()
	act.GetLock().Tag.Demonstration = "d-1"
	if o := w.must(w.journal("stonebend", "tomas", act)); !flagged(o, ledger.TagOnBox) || w.onBoard(o.GetRef()).GetGuards() {
		t.Errorf("a tag on a box counts: %v", o.GetFlags())
	}
	if o := w.must(w.journal("stonebend", "tomas", actLockBox("stonebend/box-1", "tomas-1", "boot-1"))); code.Has(o.GetFlags(), ledger.HoldsNothing...) || !w.onBoard(o.GetRef()).GetGuards() {
		t.Errorf("a lock on a box does not count: %v", o.GetFlags())
	}
	// No lock goes on the device, so that no key of it can be in a box.
	w, _ = tagged(t, false, "", fullTag())
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-1", Holes: 6}}}))
	w.must(w.journal("stonebend", "mara", &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: "stonebend/box-1", Point: feeder}}}))
	if o := w.must(w.journal("stonebend", "tomas", actLockBox("stonebend/box-1", "", "boot-1"))); !flagged(o, ledger.NoLockGoesOn) || w.onBoard(o.GetRef()).GetGuards() {
		t.Errorf("a lock on a box that can't hold the key counts: %v", o.GetFlags())
	}
}

// TestTagOnALock: a tag beside a lock that fails its check is flagged, and the lock
// counts.
func TestTagOnALock(t *testing.T) {
	for tie, bad := range map[uint32]bool{ledger.TieLeast - 1: true, ledger.TieLeast: false, 0: false} {
		w, _ := isolated(t)
		act := actLock(feeder, "tomas-1", "boot-1")
		act.GetLock().Tag = &recordv1.Tag{Legend: recordv1.Legend_LEGEND_DO_NOT_START, TiePounds: tie}
		o := w.must(w.journal("stonebend", "tomas", act))
		if flagged(o, ledger.TagFails) != bad || !w.onBoard(o.GetRef()).GetGuards() {
			t.Errorf("tie of %d lb: flags %v, guards %v", tie, o.GetFlags(), w.onBoard(o.GetRef()).GetGuards())
		}
	}
}

// TestDescribePoint: what the drawing shows as taking a lock is not talked into a
// tag, 1910.147(c)(2)(i); and since 2 January 1990 new equipment takes one,
// (c)(2)(iii). 631238400 s is that day's beginning (GNU date -u -d 1990-01-02 +%s).
func TestDescribePoint(t *testing.T) {
	w := drawn(t)
	w.refusedWith(w.direct("nia", actDescribe(&recordv1.DescribePoint{Point: feeder, NotLockable: true, Why: "handle broken"})), ledger.DrawnLockable)
	w.must(w.direct("nia", actPoint("stonebend/old/knife")))
	for installed, late := range map[int64]bool{631238400_000 - 1: false, 631238400_000: true, 0: false} {
		o := w.must(w.direct("mara", actDescribe(&recordv1.DescribePoint{Point: "stonebend/old/knife", NotLockable: true, Why: "no hole", InstalledUnixMs: installed})))
		if flagged(o, ledger.NewTakesNoLock) != late {
			t.Errorf("installed at %d: flags %v", installed, o.GetFlags())
		}
	}
	if !w.s.PointView("stonebend/old/knife").GetNotLockable() {
		t.Error("the point's view does not say that it takes no lock")
	}
	// Not drawn as an isolation point, it is no member of a plan: the engine's answer.
	w.refusedWith(w.journal("stonebend", "mara", actJob("knife-1", "ravi", zone, "stonebend/old/knife")), ledger.NotDrawn)
}
