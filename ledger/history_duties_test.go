package ledger_test

import (
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The acts of the duties, by anybody, at any time, for the random histories.

// dutySetup adds to a history, before its jobs are opened, a bin with an office at
// eastfork and the people who work there.
func dutySetup(h *history) {
	h.joinPerson(person("olga", false, authorised))
	hal := person("hal", false, contractor)
	hal.Employer = outsideFirm
	h.joinPerson(hal)
	h.must(h.publish("nia", oldBinDrawing()))
	now := binDrawing()
	now.Revision = 2
	h.must(h.publish("nia", now))
	h.must(h.walk("ravi", "eastfork"))
	for _, z := range []string{deskZone, binZone} {
		h.o.older[z] = olderOf(z)
		want := append(slices.Clone(reachOf[z]), h.o.older[z]...)
		if slices.Sort(want); !slices.Equal(h.s.Reach[z], slices.Compact(want)) {
			h.t.Fatalf("%s is reached by %v, by the drawings by %v", z, h.s.Reach[z], want)
		}
	}
	h.b, h.duty = h.s.Clone(), true
	for _, p := range binPlan {
		h.o.live[p] = true
	}
	for _, y := range []string{"stonebend", "eastfork"} {
		if h.rng.Intn(2) == 0 {
			h.do("nia", y, actRequire(y, 1))
		}
	}
	for _, j := range []*recordv1.Record{actJob(binJob, "ravi", binZone, binPlan...), actJob("desk-1", "tomas", deskZone, "eastfork/mcc-1/main")} {
		j.GetOpenJob().Crew = []string{"lena", "tomas"}
		h.do("mara", "eastfork", j)
	}
	for _, s := range []string{"ravi-1", "tomas-1", "lena-1", "mara-1"} {
		h.o.padlocks[s] = &recordv1.RegisterPadlock{Serial: s}
	}
}

// do sends an act the way that its kind goes.
func (h *history) do(who, yard string, act *recordv1.Record, wild ...bool) *recordv1.Outcome {
	h.t.Helper()
	if ledger.PermitFor(ledger.KindOf(act)).Journal {
		return h.step(yard, who, act, wild...)
	}
	return h.together(who, act)
}

// training of a person as an authorised employee; who is qualified stays so.
func (h *history) training(person string, until int64, covers ...string) *recordv1.Record {
	a := actTraining(person, h.class(), 0, until, covers...)
	a.GetRecordTraining().Qualified = person == "ravi" || person == "lena"
	return a
}

func (h *history) class() recordv1.TrainingClass {
	return recordv1.TrainingClass(h.rng.Intn(2)) // unspecified is read as authorised
}

func (h *history) version(zone string) (next, waiting uint32) {
	if p := h.s.Procs[zone]; p != nil {
		return max(p.Current.Number, p.Waiting.Number) + 1, p.Waiting.Number
	}
	return 1, 0
}

// theHolds are those that are on and of which a thing is true, in random order.
func (h *history) theHolds(is func(x *oracleHold) bool) string {
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off && is(x) {
			return ref
		}
	}
	return "stonebend/1/1"
}

func goodTag() *recordv1.Tag {
	return &recordv1.Tag{Legend: recordv1.Legend_LEGEND_DO_NOT_OPERATE, Only: true, Means: []recordv1.ExtraMeans{1}, Demonstration: "demo-1", TiePounds: 50, ReadableMm: 1524}
}

// dutyAct does one of them, mostly by somebody who may.
func (h *history) dutyAct() {
	who := h.pick("ravi", "tomas", "lena", "mara", "dov", "nia", "olga", "hal")
	yard := h.pick("stonebend", "millrow", "eastfork")
	boss, job := h.pick("mara", "nia", "nia", who), h.pick("boot-1", "room-1", "both-1", "desk-1", binJob)
	p := h.pick(feeder, main1, control, binPlan[h.rng.Intn(len(binPlan))])
	serial := h.pick("ravi-1", "tomas-1", "lena-1", "mara-1", "pool-1", "pool-1", "pool-2", "pool-2", "pool-3", "none-1")
	zoned := h.o.jobs[job]
	far := h.now + 1e9
	switch h.rng.Intn(26) {
	case 0:
		h.do(boss, yard, h.training(who, h.now+[]int64{30_000, 300_000, 1e9}[h.rng.Intn(3)]))
	case 1:
		a := actTraining(who, recordv1.TrainingClass(1+h.rng.Intn(7)), h.now-int64(h.rng.Intn(200_000)), h.now+1e9, h.pick(zone, room, binZone))
		a.GetRecordTraining().Qualified = who == "ravi" || who == "lena"
		h.do(boss, yard, a)
	case 2:
		z := h.pick(zone, zone, binZone)
		next, _ := h.version(z)
		h.do(h.pick("mara", "ravi", "nia", who), yard, procedureOf(z, next-uint32(h.rng.Intn(5)/4)))
	case 3:
		z := h.pick(zone, zone, binZone)
		_, waiting := h.version(z)
		h.do(h.pick("mara", "nia", "max", who), yard, approvalOf(z, waiting))
	case 4:
		h.do(h.pick("nia", "max", who), yard, actRequire(yard, h.now+int64(h.rng.Intn(3)-1)*100_000))
	case 5:
		h.do(boss, yard, actAttest(job))
	case 6:
		next, waiting := h.version(zone)
		v := next - 1
		if waiting > 0 {
			v--
		}
		a := actInspect(v, h.now, h.pick("ravi", "tomas", "olga"))
		if h.rng.Intn(3) == 0 {
			a.GetInspectProcedure().Retrain = []string{h.pick("ravi", "tomas", "mara")}
		}
		h.do(h.pick("olga", "olga", "tomas", "ravi", who), yard, a)
	case 7:
		h.do(boss, yard, actCoordinator(job, h.pick("mara", "olga", "tomas", who), h.pick("", h.o.lead[job])))
	case 8:
		if h.rng.Intn(2) == 0 {
			h.do(boss, yard, actCrew(job, h.pick("first", "second"), h.pick("olga", "tomas", "hal"), h.pick("hal", "lena")))
		}
	case 9:
		h.answer(who, yard, job)
	case 10:
		h.do(boss, yard, actExchange(yard, h.pick(outsideFirm, outsideFirm, "Other Firm"), h.pick("hal", "hal", "lena"), h.now))
	case 11:
		h.do(boss, yard, &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: &recordv1.RegisterPadlock{Serial: serial, Owner: who, KeysCut: uint32(1 + h.rng.Intn(2)),
			Kind: recordv1.PadlockKind(h.rng.Intn(5)), Spare: recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, SpareHolder: "nia"}}})
		h.do(who, yard, actLock(p, serial, job), true)
	case 12:
		h.do(who, yard, actLock(p, serial, h.pick(job, "")), true)
	case 13:
		m := recordv1.KeyMove(1 + h.rng.Intn(3))
		holder := map[bool]string{true: "", false: h.pick("nia", "max", who)}[m == recordv1.KeyMove_KEY_MOVE_DESTROYED]
		h.do(h.pick("nia", who), yard, actMoveKey(serial, m, holder, ""))
	case 14:
		h.do(boss, yard, actIssue(serial, h.pick(who, "")))
	case 15:
		h.do(who, yard, actReport(serial, recordv1.PadlockTrouble(1+h.rng.Intn(3))))
	case 16:
		a := &recordv1.ClearPadlock{Serial: serial, Trouble: recordv1.PadlockTrouble(1 + h.rng.Intn(3)), Why: "found again"}
		if known := slices.Sorted(maps.Keys(h.s.Troubles)); len(known) > 0 {
			a.Serial, a.Trouble = h.s.Troubles[known[0]].Serial, h.s.Troubles[known[0]].Kind
		}
		h.do(boss, yard, &recordv1.Record{Act: &recordv1.Record_ClearPadlock{ClearPadlock: a}})
	case 17:
		h.do(who, yard, actEquipment(p, h.pick("", serial), far), true)
	case 18:
		ref := h.theHolds(func(x *oracleHold) bool { return x.equipment || h.rng.Intn(6) == 0 })
		if x := h.o.holds[ref]; x != nil && h.rng.Intn(2) == 0 {
			h.do(boss, h.pick(home(x.point+x.box), yard), actReleaseWhy(ref, h.pick("", "back in service", "back in service")))
			return
		}
		h.do(boss, yard, actReview(ref, far))
	case 19:
		if h.rng.Intn(3) == 0 {
			h.do(boss, yard, actDescribe(&recordv1.DescribePoint{Point: p, Demonstration: h.pick("demo-1", "demo-1", "demo-2", ""), Why: "shown in writing"}))
			return
		}
		t := goodTag()
		if h.rng.Intn(2) == 0 {
			t = []*recordv1.Tag{{Only: true}, {Only: true, Means: []recordv1.ExtraMeans{1}, Legend: 1, TiePounds: 49, ReadableMm: 1524, Demonstration: "demo-1"}, {Legend: 2, TiePounds: 60, ReadableMm: 2000}}[h.rng.Intn(3)]
		}
		h.do(h.pick("ravi", "tomas", who), yard, actTag(p, job, t), true)
	case 20:
		if h.rng.Intn(4) == 0 {
			h.do(who, yard, actChoked(h.pick(zone, zone, room, motor, "stonebend/leg", "eastfork/unknown")))
			return
		}
		for _, ref := range slices.Sorted(maps.Keys(h.o.chokes)) {
			h.do(h.pick("mara", who), yard, actClearChoke(ref, h.rng.Intn(4) > 0))
			return
		}
	case 21:
		h.redraw(boss)
	case 22:
		signers := []string{zoned.responsible, "mara", "nia", "tomas"}
		if from := signers[h.rng.Intn(4)]; from != who {
			h.do(who, yard, actTakeOver(job, from))
		}
	case 23:
		h.rare(who, yard)
	case 24:
		h.narrow(who, yard)
	default:
		h.binAct(who)
	}
}

// answer answers the offer to verify, which is shown as it was given.
func (h *history) answer(who, yard, job string) {
	said := recordv1.VerificationAnswer(1 + h.rng.Intn(2))
	out := h.do(who, yard, actAnswer(job, said))
	for _, m := range h.s.JobView(job, h.now).GetMembers() {
		if m.GetPerson() == who && !flagged(out, "UNKNOWN_JOB") && m.GetVerification() != said {
			h.t.Fatalf("%s answered %v for %s, and it is shown as %v, flagged %v", who, said, job, m, out.GetFlags())
		}
	}
}

// redraw publishes the drawing of stonebend again with the next number, or has it
// walked: what it shows is the same, and it counts only once it is walked.
func (h *history) redraw(boss string) {
	if h.o.drawn["stonebend"] != "" && !h.o.walked["stonebend"] {
		h.walked(h.pick("ravi", "ravi", boss))
		return
	}
	if h.rng.Intn(4) == 0 {
		d := withMain(h.s.Plans["stonebend"].Revision + 1)
		h.do(boss, "", &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(h.t, d)}}})
	}
}

func (h *history) walked(by string) {
	sum := []byte(h.o.drawn["stonebend"])
	h.do(by, "", &recordv1.Record{Act: &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: "stonebend", Revision: h.s.Plans["stonebend"].Revision, DrawingHash: sum}}})
}

// rare is what happens seldom: a yard recovered, a key revoked, a request that runs
// out or is withdrawn, things registered, a small job opened and closed.
func (h *history) rare(who, yard string) {
	h.n++
	n := decimal(uint64(h.n))
	switch h.rng.Intn(7) {
	case 0:
		h.recovery(who, yard)
	case 1:
		gus := "gus-" + n
		h.enrol(gus)
		h.step(yard, gus, actLock(h.pick(feeder, main1, control), "", h.pick("", "boot-1")))
		h.do(h.pick("nia", "max", who), "", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: gus, Key: pub(h.keys[gus]), Why: "lost"}}})
		// What it signs from now on protects all the same (decisions.md 2), and lifts nothing.
		h.step(yard, gus, actLock(feeder, "", ""))
		h.step(yard, gus, actRelease(h.theHolds(func(x *oracleHold) bool { return x.by == gus })))
	case 2:
		if len(h.o.box) > 0 {
			p := slices.Sorted(maps.Keys(h.o.box))[0]
			h.do("mara", "eastfork", &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: keyBox, Point: p}}})
		}
	case 3:
		h.givenUp(h.pick("boot-1", "room-1", "both-1"))
	case 4:
		h.do(h.pick("mara", who), "", actPoint("millrow/shed/spare-"+n))
		h.do(h.pick("mara", who), "", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "millrow/box-" + n, Holes: 4}}})
	case 5:
		p := h.pick(feeder, main1, control)
		m := h.s.Points[p].Moved
		h.do("mara", home(p), &recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: p, Moved: &recordv1.Moved{Epoch: m.Epoch, Seq: m.Seq}}}})
	case 6:
		id := "small-" + n
		h.do("mara", "stonebend", actJob(id, "tomas", room, main1))
		if h.rng.Intn(2) == 0 {
			h.do(who, yard, actLock(main1, "", id))
			h.do("mara", "stonebend", actClear(id))
		}
		h.do(h.pick("mara", "tomas", who), "stonebend", actClose(id))
	}
}

// recovery walks a yard down and begins its next epoch.
func (h *history) recovery(who, yard string) {
	y := h.s.Yards[yard]
	disk := yard + decimal(y.Epoch+1) + "-" + decimal(uint64(h.n))
	r := &recordv1.RecoverYard{Yard: yard, Second: h.pick("ines", "ines", "max", who), Epoch: y.Epoch + 1, Key: pub(key(disk)), Address: "127.0.0.1:9", OldMachineOff: h.rng.Intn(6) > 0}
	for _, p := range []string{feeder, main1, control} {
		if home(p) != yard {
			continue
		}
		if h.rng.Intn(3) == 0 {
			r.Locks = append(r.Locks, &recordv1.WalkedLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: p}}, Holder: h.pick("", "ravi", who), Job: h.pick("", "boot-1"), Seen: "hanging"})
		}
		if h.rng.Intn(3) == 0 {
			r.Closed = append(r.Closed, p)
		}
	}
	if h.rng.Intn(3) == 0 {
		r.Inside = append(r.Inside, &recordv1.WalkedPerson{Person: h.pick("ravi", "tomas", "lena"), Job: h.pick("boot-1", "room-1")})
	}
	if r.Second == "nia" {
		return
	}
	rec := h.record("nia", actRecover(r))
	body := marshal(h.t, rec)
	f := fact{index: h.s.Size(), by: "nia", captured: rec.CapturedUnixMs, written: h.now}
	out := h.put(ledger.DirectEntry(signed(h.t, seal.RecordDomain, body, h.keys["nia"], h.keys[r.Second], key(disk))))
	if out.GetAccepted() {
		h.keys[yard], h.last[yard] = key(disk), nil
	}
	h.o.note(f, proto.CloneOf(rec), out)
	h.straight(out)
}
