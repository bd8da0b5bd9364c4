package ledger_test

import (
	"slices"

	"yardhasp/ledger"
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
	h.b = h.s.Clone()
	h.acts = newCalendar(h.draws, append(wildActs(4), dutyActs()...)...)
	h.rounds = newCalendar(h.draws, dutyRounds()...)
	for _, p := range binPlan {
		h.o.live[p] = true
	}
	for _, y := range []string{"stonebend", "eastfork"} {
		if h.rng.IntN(2) == 0 {
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

func (h *history) dutyDeed() deed {
	d := deed{who: h.pick("ravi", "tomas", "lena", "mara", "dov", "nia", "olga", "hal"), yard: h.pick("stonebend", "millrow", "eastfork"), job: h.pick("boot-1", "room-1", "both-1", "desk-1", binJob)}
	d.boss = h.pick("mara", "nia", "nia", d.who)
	d.point = h.pick(feeder, main1, control, h.pick(binPlan...))
	d.serial = h.pick("ravi-1", "tomas-1", "lena-1", "mara-1", "pool-1", "pool-1", "pool-2", "pool-2", "pool-3", "none-1")
	return d
}

// dutyActs come, all together, a little more than once in a unit of time.
func dutyActs() []occasion {
	var all []occasion
	for _, menu := range []func(add func(string, float64, func(*history, deed))){peopleActs, lockActs, placeActs, rareActs, binActs} {
		menu(func(name string, every float64, act func(*history, deed)) {
			all = append(all, occasion{"duty: " + name, every, func(h *history) { act(h, h.dutyDeed()) }})
		})
	}
	return all
}

// do sends an act the way that its kind goes.
func (h *history) do(who, yard string, act *recordv1.Record, wild ...bool) *recordv1.Outcome {
	h.t.Helper()
	if ledger.KindFor(act).Way == ledger.ThroughJournal {
		return h.step(yard, who, act, wild...)
	}
	return h.together(who, act)
}

// peopleActs concern training, procedures, crews and outside employers.
func peopleActs(add func(name string, every float64, act func(h *history, d deed))) {
	add("training as authorised", 23, func(h *history, d deed) {
		h.do(d.boss, d.yard, h.training(d.who, h.now+[]int64{30_000, 300_000, 1e9}[h.rng.IntN(3)]))
	})
	add("training", 23, func(h *history, d deed) {
		a := actTraining(d.who, recordv1.TrainingClass(1+h.rng.IntN(7)), h.now-int64(h.rng.IntN(200_000)), h.now+1e9, h.pick(zone, room, binZone))
		a.GetRecordTraining().Qualified = d.who == "ravi" || d.who == "lena"
		h.do(d.boss, d.yard, a)
	})
	add("publish procedure", 23, func(h *history, d deed) {
		z := h.pick(zone, zone, binZone)
		next, _ := h.version(z)
		h.do(h.pick("mara", "ravi", "nia", d.who), d.yard, procedureOf(z, next-uint32(h.rng.IntN(5)/4)))
	})
	add("approve procedure", 23, func(h *history, d deed) {
		z := h.pick(zone, zone, binZone)
		_, waiting := h.version(z)
		h.do(h.pick("mara", "nia", "max", d.who), d.yard, approvalOf(z, waiting))
	})
	add("require procedures", 23, func(h *history, d deed) {
		h.do(h.pick("nia", "max", d.who), d.yard, actRequire(d.yard, h.now+int64(h.rng.IntN(3)-1)*100_000))
	})
	add("attest exception", 23, func(h *history, d deed) { h.do(d.boss, d.yard, actAttest(d.job)) })
	add("inspect procedure", 23, (*history).dutyInspect)
	add("set coordinator", 23, func(h *history, d deed) {
		h.do(d.boss, d.yard, actCoordinator(d.job, h.pick("mara", "olga", "tomas", d.who), h.pick("", h.o.lead[d.job])))
	})
	add("add crew", 46, func(h *history, d deed) {
		h.do(d.boss, d.yard, actCrew(d.job, h.pick("first", "second"), h.pick("olga", "tomas", "hal"), h.pick("hal", "lena")))
	})
	add("answer verification", 23, (*history).dutyAnswer)
	add("exchange procedures", 23, func(h *history, d deed) {
		h.do(d.boss, d.yard, actExchange(d.yard, h.pick(outsideFirm, outsideFirm, "Other Firm"), h.pick("hal", "hal", "lena"), h.now))
	})
	add("take over", 23, func(h *history, d deed) {
		if from := h.pick(h.o.jobs[d.job].responsible, "mara", "nia", "tomas"); from != d.who {
			h.do(d.who, d.yard, actTakeOver(d.job, from))
		}
	})
}

// training of a person as an authorised employee; who is qualified stays so.
func (h *history) training(person string, until int64, covers ...string) *recordv1.Record {
	a := actTraining(person, h.class(), 0, until, covers...)
	a.GetRecordTraining().Qualified = person == "ravi" || person == "lena"
	return a
}

func (h *history) class() recordv1.TrainingClass {
	return recordv1.TrainingClass(h.rng.IntN(2)) // unspecified is read as authorised
}

func (h *history) version(zone string) (next, waiting uint32) {
	if p := h.s.Procs[zone]; p != nil {
		return max(p.Current.Number, p.Waiting.Number) + 1, p.Waiting.Number
	}
	return 1, 0
}

// aHold is one that is on and of which a thing is true.
func (h *history) aHold(is func(x *oracleHold) bool) string {
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off && is(x) {
			return ref
		}
	}
	return "stonebend/1/1"
}

func (h *history) dutyInspect(d deed) {
	next, waiting := h.version(zone)
	v := next - 1
	if waiting > 0 {
		v--
	}
	a := actInspect(v, h.now, h.pick("ravi", "tomas", "olga"))
	if h.rng.IntN(3) == 0 {
		a.GetInspectProcedure().Retrain = []string{h.pick("ravi", "tomas", "mara")}
	}
	h.do(h.pick("olga", "olga", "tomas", "ravi", d.who), d.yard, a)
}

// dutyAnswer answers the offer to verify, which is shown as it was given.
func (h *history) dutyAnswer(d deed) {
	said := recordv1.VerificationAnswer(1 + h.rng.IntN(2))
	out := h.do(d.who, d.yard, actAnswer(d.job, said))
	for _, m := range h.s.JobView(d.job, h.now).GetMembers() {
		if m.GetPerson() == d.who && !flagged(out, ledger.UnknownJob) && m.GetVerification() != said {
			h.t.Fatalf("%s answered %v for %s, and it is shown as %v, flagged %v", d.who, said, d.job, m, out.GetFlags())
		}
	}
}
