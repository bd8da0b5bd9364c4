package ledger_test

import (
	"maps"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Whole rounds of the duties done properly: what stands in the way put right, work
// in the bin and in the office, and their end.

func dutyRounds() []occasion {
	var all []occasion
	add := func(name string, every float64, round func(h *history)) {
		all = append(all, occasion{name, every, func(h *history) {
			if h.rng.IntN(3) > 0 {
				h.as("settle", h.settle)
			}
			round(h)
		}})
	}
	add("work up", 39, func(h *history) {
		h.workUp(h.pick("boot-1", "boot-1", "room-1", "both-1"))
		if h.rng.IntN(2) == 0 {
			h.hotWork("nia")
		}
	})
	add("wind down", 78, func(h *history) {
		h.as("quiet", h.quiet)
		h.windDown(h.oneJob())
	})
	add("test round", 39, func(h *history) {
		h.as("quiet", h.quiet)
		h.testRound(h.oneJob())
	})
	add("bin up", 78, (*history).binUp)
	add("bin down", 78, (*history).binDown)
	add("office", 78, func(h *history) {
		h.do("mara", "", actAttest("desk-1"))
		h.isolateFor("desk-1", h.o.jobs["desk-1"].responsible)
	})
	add("change over", 78, func(h *history) { h.changeOver(h.pick("boot-1", "room-1", "both-1", "desk-1", binJob)) })
	add("hot work", 78, func(h *history) {
		h.hotWork("nia")
		h.hotWork("lena")
		h.hotWork("nia")
	})
	add("request given up", 78, func(h *history) { h.givenUp(h.oneJob(), h.anyGivingUp()) })
	return all
}

// settle puts right, mostly, what keeps work from starting.
func (h *history) settle() {
	mostly := func(f func()) {
		if !h.odd(14) {
			f()
		}
	}
	far := h.now + 1e11
	for _, ref := range slices.Sorted(maps.Keys(h.o.chokes)) {
		mostly(func() { h.do("mara", "stonebend", actClearChoke(ref, true)) })
	}
	for _, z := range []string{zone, binZone} {
		next, waiting := h.version(z)
		if h.o.required[home(z)] > 0 && h.o.current[z].number == 0 && waiting == 0 {
			mostly(func() { h.do("mara", "", procedureOf(z, next)) })
		}
		if _, waiting = h.version(z); waiting > 0 {
			mostly(func() { h.do(h.pick("nia", "max"), "", approvalOf(z, waiting)) })
		}
	}
	for _, p := range slices.Sorted(maps.Keys(h.o.until)) {
		by := map[bool]string{true: "max", false: "nia"}[p == "nia"]
		if h.o.until[p] < far {
			mostly(func() { h.do(by, "", h.training(p, h.now+1e12)) })
		}
		if owed := slices.Sorted(maps.Keys(h.o.retrain[p])); len(owed) > 0 {
			mostly(func() { h.do(by, "", h.training(p, h.now+1e12, owed...)) })
		}
	}
	for _, j := range slices.Sorted(maps.Keys(h.o.crews)) {
		if h.o.lead[j] == "" {
			mostly(func() { h.do("mara", "", actCoordinator(j, "olga", "")) })
		}
	}
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		if !h.o.exchanged[y+" "+outsideFirm] {
			mostly(func() { h.do("nia", "", actExchange(y, outsideFirm, "hal", h.now)) })
		}
	}
	if h.o.drawn["stonebend"] != "" && !h.o.walked["stonebend"] {
		mostly(func() { h.walked("ravi") })
	}
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off && h.o.revoked[x.by] {
			mostly(func() { h.together("max", actRemoval(ref, "ines")) })
		}
		if x := h.o.holds[ref]; !x.off && x.equipment {
			mostly(func() { h.do("mara", home(x.point+x.box), actReleaseWhy(ref, "back in service")) })
		}
	}
}

// binActs are around the bin, by anybody.
func binActs(add func(name string, every float64, act func(h *history, d deed))) {
	add("air reading", 210, func(h *history, d deed) {
		vs := clean()
		if h.rng.IntN(3) == 0 {
			vs = values(co2, 5_000_001)
		}
		level := []recordv1.AirLevel{top, middle, bottom, atWork}[h.rng.IntN(4)]
		h.do(h.pick("ravi", d.who), "eastfork", actAir(h.pick(binJob, binJob, "boot-1"), h.pick(binZone, binZone, zone), level, vs...), true)
	})
	add("stand watch", 210, func(h *history, d deed) {
		h.do(h.pick("mara", "olga", d.who), "eastfork", actStand(h.pick(binJob, "boot-1"), recordv1.Duty(1+h.rng.IntN(2))))
	})
	add("leave watch", 210, func(h *history, d deed) {
		for _, ref := range slices.Sorted(maps.Keys(h.o.bin.watch)) {
			h.do(d.who, "eastfork", actLeave(ref))
			return
		}
	})
	add("fumigation", 420, func(h *history, d deed) { h.do(d.who, "eastfork", actFumigated(h.pick("eastfork/bin-4", binZone))) })
	add("fumigation cleared", 210, func(h *history, d deed) {
		for _, ref := range slices.Sorted(maps.Keys(h.o.bin.fumigated)) {
			h.do(h.pick("mara", d.who), "eastfork", actFumigantCleared(ref, int64(h.rng.IntN(2)*301)))
			return
		}
	})
	add("issue bin permit", 210, func(h *history, d deed) {
		h.n++
		h.do(h.pick("nia", d.who), "", actIssueBin("in-"+decimal(uint64(h.n)), binJob, h.now+240*minute, bin()))
	})
	add("hot work", 210, func(h *history, d deed) { h.hotWork(d.who) })
	add("sign on in the bin", 210, func(h *history, d deed) { h.do(d.who, "eastfork", actSignOn(h.pick(binJob, "desk-1")), true) })
	add("sign off in the bin", 210, func(h *history, d deed) {
		for _, ref := range h.onRefs() {
			if s := h.o.ons[ref]; !s.off && s.job == binJob {
				h.do(s.by, "eastfork", actSignOff(ref))
			}
		}
	})
}

// hotWork goes on with the open permit, or asks for one, 1910.272(f).
func (h *history) hotWork(who string) {
	for _, id := range slices.Sorted(maps.Keys(h.o.bin.permits)) {
		switch p := h.o.bin.permits[id]; {
		case p.closed || !p.hot:
		case !p.done:
			h.do(h.pick("lena", who), "stonebend", actHotDone(id))
			return
		default:
			h.now += int64(h.rng.IntN(2)) * 61 * minute
			h.do("nia", "", actClosePermit(id))
			return
		}
	}
	h.do("ravi", "stonebend", actAir("boot-1", zone, atWork, values(burns, 10_000)...))
	h.do("tomas", "stonebend", actStand("boot-1", recordv1.Duty_DUTY_FIRE_WATCH))
	h.n++
	work := hot()
	work.Workers = []string{"ravi"} // lena often has no lock on
	h.do(h.pick("nia", who), "", actIssueHot("weld-"+decimal(uint64(h.n)), "boot-1", h.now+240*minute, work))
}

// quiet puts right what would keep points from being energised: the hot work is
// over, and its fire watch.
func (h *history) quiet() {
	h.settle()
	for _, id := range slices.Sorted(maps.Keys(h.o.bin.permits)) {
		if p := h.o.bin.permits[id]; p.hot && !p.closed {
			h.do("lena", "stonebend", actHotDone(id))
			h.now += 61 * minute
			h.do("nia", "", actClosePermit(id))
		}
	}
	for _, id := range slices.Sorted(maps.Keys(h.s.Reqs)) {
		if h.s.Reqs[id].Open() {
			h.do("mara", "", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: id, Why: "not needed"}}})
		}
	}
}

// isolateFor opens and locks a job's points at eastfork for these people, and
// proves it.
func (h *history) isolateFor(id string, people ...string) {
	j := h.o.jobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	for _, ref := range slices.Sorted(maps.Keys(h.o.debts)) {
		h.together(h.o.debts[ref], actAcknowledge(ref))
	}
	h.maybe("eastfork", "mara", actNotice(id, recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov"))
	h.maybe("eastfork", "mara", actShutDown(id))
	for _, p := range j.plan {
		h.maybe("eastfork", "mara", h.actIsolate(p))
		for _, who := range people {
			h.maybe("eastfork", who, actLock(p, "", id))
		}
	}
	proofs, err := h.s.Graph().Proofs(j.zone, j.plan...)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, p := range proofs {
		h.maybe("eastfork", "ravi", actReading(id, p.Part, p.Medium, p.Kind, 0))
	}
}

// binUp takes the bin to where people are inside under a permit.
func (h *history) binUp() {
	b := &h.o.bin
	crew := []string{h.o.jobs[binJob].responsible, "lena", "tomas"}
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && s.job == binJob {
			h.maybe("eastfork", s.by, actSignOff(ref))
		}
	}
	h.closeBinPermits()
	for _, ref := range slices.Sorted(maps.Keys(b.fumigated)) {
		h.maybe("eastfork", "mara", actFumigantCleared(ref, 300))
	}
	for _, p := range []string{"lena", "tomas"} {
		h.do("nia", "", actTraining(p, recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, h.now, h.now+1e10))
	}
	h.do("nia", "", actTraining("mara", recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, h.now, h.now+1e10))
	h.isolateFor(binJob, slices.Compact(slices.Sorted(slices.Values(crew)))...)
	for _, l := range []recordv1.AirLevel{top, middle, bottom} {
		h.maybe("eastfork", "ravi", actAir(binJob, binZone, l, clean()...))
	}
	h.maybe("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER))
	h.n++
	h.do("nia", "", actIssueBin("in-"+decimal(uint64(h.n)), binJob, h.now+240*minute, bin()))
	h.maybe("eastfork", "lena", actSignOn(binJob))
	if h.odd(3) { // the air gets old
		h.now += 31 * minute
		h.maybe("eastfork", "tomas", actSignOn(binJob))
	}
}

func (h *history) closeBinPermits() {
	for _, id := range slices.Sorted(maps.Keys(h.o.bin.permits)) {
		if p := h.o.bin.permits[id]; !p.closed && !p.hot {
			h.do("nia", "", actClosePermit(id))
		}
	}
}

// binDown has everybody out and energises the bin's points, hurried now and then.
func (h *history) binDown() {
	hurried := h.odd(4)
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && !(hurried && h.rng.IntN(4) == 0) {
			h.maybe("eastfork", s.by, actSignOff(ref))
		}
	}
	if !hurried {
		h.closeBinPermits()
	}
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off && slices.Contains(binPlan, x.point) && !(hurried && h.rng.IntN(6) == 0) {
			if x.equipment {
				h.do("mara", "eastfork", actReleaseWhy(ref, "back in service"))
			} else {
				h.endHold(ref)
			}
		}
	}
	for _, o := range []string{binJob, "desk-1"} {
		h.maybe("eastfork", "mara", actClear(o))
		h.maybe("eastfork", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	rq, pts := h.ask("bin-", binJob, binPlan)
	for _, p := range pts {
		h.maybe("eastfork", "mara", actEnergise(rq, p))
	}
}

func procedureOf(z string, version uint32) *recordv1.Record {
	a := actProcedure(version)
	if p := a.GetPublishProcedure(); z == binZone {
		p.Zone, p.Points = z, binPlan
	}
	return a
}

func approvalOf(z string, version uint32) *recordv1.Record {
	a := actApprove(version)
	a.GetApproveProcedure().Zone = z
	return a
}

// enrol invites somebody and has them join.
func (h *history) enrol(id string) {
	h.keys[id], h.once[id] = key(id), key("once "+id)
	h.straight(h.direct("nia", &recordv1.Record{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "inv-" + id,
		Whom: &recordv1.Invite_Person{Person: person(id, false, authorised)}, OnceKey: pub(h.once[id]), ExpiresUnixMs: h.now + 1e10}}}))
	h.straight(h.put(h.join(id, "")))
}

// changeOver has somebody lock every point of a job and become responsible for it.
func (h *history) changeOver(id string) {
	j := h.o.jobs[id]
	who := h.pick("ravi", "tomas", "mara", "olga")
	for _, p := range j.plan {
		h.maybe(home(p), who, actLock(p, "", h.pick(id, id, "")))
	}
	if from := h.pick(j.responsible, "mara", "nia"); from != who {
		h.do(who, "", actTakeOver(id, from))
	}
}

// givenUp asks for a test, and withdraws it or lets its time run out.
func (h *history) givenUp(id string, how givingUp) {
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off {
			h.step("stonebend", s.by, actSignOff(ref))
		}
	}
	var pts []string
	for _, p := range oracleJobs[id].plan {
		if !h.o.live[p] {
			pts = append(pts, p)
		}
	}
	if len(pts) == 0 {
		return
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.step("stonebend", "mara", actClear(o))
	}
	h.n++
	rq := "late-" + decimal(uint64(h.n))
	h.do("mara", "", actTest(rq, id, h.now+20_000, pts...))
	switch how {
	case withdrawn:
		h.do(h.pick("mara", "dov"), "", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: rq, Why: "not needed"}}})
		return
	case runOut:
		h.now += 30_000
	}
	h.do("stonebend", "", &recordv1.Record{Act: &recordv1.Record_Expire{Expire: &recordv1.Expire{Request: rq}}})
}

// givingUp is how a request comes to nothing.
type givingUp int

const (
	withdrawn givingUp = iota
	runOut
	expiredTooEarly
)

func (h *history) anyGivingUp() givingUp { return givingUp(h.rng.IntN(3)) }

// coda does at the end of a history what seldom comes of itself.
func (h *history) coda() {
	h.settle()
	ref := h.aHold(func(x *oracleHold) bool { return x.by != "" && !x.equipment })
	if x := h.o.holds[ref]; x != nil {
		h.step(home(x.point+x.box), x.by, actTried(ref))
	}
	fog := h.do("dov", "eastfork", actFumigated("eastfork/bin-4")).GetRef()
	h.do("mara", "eastfork", actFumigantCleared(fog, int64(h.rng.IntN(2))*301))
	for _, ref := range slices.Sorted(maps.Keys(h.o.debts)) {
		h.together(h.o.debts[ref], actAcknowledge(ref))
	}
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	h.quiet()
	h.givenUp("both-1", h.anyGivingUp())
	h.givenUp("room-1", h.anyGivingUp())
	h.step("millrow", "mara", actFoundClosed(control))
}
