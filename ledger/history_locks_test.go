package ledger_test

import (
	"maps"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// lockActs concern padlocks and their keys, equipment locks and tags.
func lockActs(add func(name string, every float64, act func(h *history, d deed))) {
	add("register padlock", 23, func(h *history, d deed) {
		h.do(d.boss, d.yard, &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: &recordv1.RegisterPadlock{Serial: d.serial, Owner: d.who, KeysCut: uint32(1 + h.rng.IntN(2)),
			Kind: recordv1.PadlockKind(h.rng.IntN(5)), Spare: recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, SpareHolder: "nia"}}})
		h.do(d.who, d.yard, actLock(d.point, d.serial, d.job), true)
	})
	add("lock with a padlock", 23, func(h *history, d deed) { h.do(d.who, d.yard, actLock(d.point, d.serial, h.pick(d.job, "")), true) })
	add("move key", 23, func(h *history, d deed) {
		m := recordv1.KeyMove(1 + h.rng.IntN(3))
		holder := map[bool]string{true: "", false: h.pick("nia", "max", d.who)}[m == recordv1.KeyMove_KEY_MOVE_DESTROYED]
		h.do(h.pick("nia", d.who), d.yard, actMoveKey(d.serial, m, holder, ""))
	})
	add("issue padlock", 23, func(h *history, d deed) { h.do(d.boss, d.yard, actIssue(d.serial, h.pick(d.who, ""))) })
	add("report padlock", 23, func(h *history, d deed) {
		h.do(d.who, d.yard, actReport(d.serial, recordv1.PadlockTrouble(1+h.rng.IntN(3))))
	})
	add("clear padlock", 23, func(h *history, d deed) {
		a := &recordv1.ClearPadlock{Serial: d.serial, Trouble: recordv1.PadlockTrouble(1 + h.rng.IntN(3)), Why: "found again"}
		if known := slices.Sorted(maps.Keys(h.s.Troubles)); len(known) > 0 {
			a.Serial, a.Trouble = h.s.Troubles[known[0]].Serial, h.s.Troubles[known[0]].Kind
		}
		h.do(d.boss, d.yard, &recordv1.Record{Act: &recordv1.Record_ClearPadlock{ClearPadlock: a}})
	})
	add("equipment lock", 23, func(h *history, d deed) {
		h.do(d.who, d.yard, actEquipment(d.point, h.pick("", d.serial), h.now+1e9), true)
	})
	add("equipment lock off", 46, func(h *history, d deed) {
		ref := h.mostlyEquipment()
		if x := h.o.holds[ref]; x != nil {
			h.do(d.boss, h.pick(home(x.point+x.box), d.yard), actReleaseWhy(ref, h.pick("", "back in service", "back in service")))
		}
	})
	add("review lock", 23, func(h *history, d deed) { h.do(d.boss, d.yard, actReview(h.mostlyEquipment(), h.now+1e9)) })
	add("describe point", 70, func(h *history, d deed) {
		h.do(d.boss, d.yard, actDescribe(&recordv1.DescribePoint{Point: d.point, Demonstration: h.pick("demo-1", "demo-1", "demo-2", ""), Why: "shown in writing"}))
	})
	add("tag", 35, func(h *history, d deed) {
		t := goodTag()
		if h.rng.IntN(2) == 0 {
			t = []*recordv1.Tag{{Only: true}, {Only: true, Means: []recordv1.ExtraMeans{1}, Legend: 1, TiePounds: 49, ReadableMm: 1524, Demonstration: "demo-1"}, {Legend: 2, TiePounds: 60, ReadableMm: 2000}}[h.rng.IntN(3)]
		}
		h.do(h.pick("ravi", "tomas", d.who), d.yard, actTag(d.point, d.job, t), true)
	})
}

// mostlyEquipment is mostly a yard's lock that is on.
func (h *history) mostlyEquipment() string {
	return h.aHold(func(x *oracleHold) bool { return x.equipment || h.rng.IntN(6) == 0 })
}

func goodTag() *recordv1.Tag {
	return &recordv1.Tag{Legend: recordv1.Legend_LEGEND_DO_NOT_OPERATE, Only: true, Means: []recordv1.ExtraMeans{1}, Demonstration: "demo-1", TiePounds: 50, ReadableMm: 1524}
}
