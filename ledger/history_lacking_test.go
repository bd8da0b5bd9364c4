package ledger_test

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// desk takes the job on the office wiring to where work may start, with nobody else
// about; a tag may hang in the place of the responsible employee's lock.
func (h *history) desk(tag *recordv1.Tag) {
	h.do("mara", "", actAttest("desk-1"))
	j := h.o.jobs["desk-1"]
	main := j.plan[0]
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && s.job == "desk-1" {
			h.step("eastfork", s.by, actSignOff(ref))
		}
	}
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off && x.point == main {
			h.endHold(ref)
		}
	}
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	if h.o.drawn["stonebend"] != "" && !h.o.walked["stonebend"] {
		h.walked("ravi")
	}
	h.step("eastfork", "mara", actNotice("desk-1", recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov"))
	h.step("eastfork", "mara", actShutDown("desk-1"))
	h.step("eastfork", "ravi", h.actIsolate(main))
	if tag == nil {
		h.step("eastfork", j.responsible, actLock(main, "", "desk-1"))
	} else {
		h.step("eastfork", j.responsible, actTag(main, "desk-1", tag))
	}
	proofs, err := h.s.Graph().Proofs(j.zone, j.plan...)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, p := range proofs {
		h.step("eastfork", "ravi", actReading("desk-1", p.Part, p.Medium, p.Kind, 0))
	}
}

// lacking takes a job to where work may start, and then lets one demand alone fail:
// so each is what stands between the people and the work in some histories. n says
// which.
func (h *history) lacking(n int) {
	if h.o.checks["one demand lacking"]++; len(h.o.exchanged)+len(h.o.crews)+len(h.o.lead) > 0 {
		h.settle()
	}
	far := h.now + 1e12
	soon := func(who string) {
		h.do("nia", "", h.training(who, h.now+5_000))
		h.now += 10_000
		h.step("eastfork", "dov", actNotice("desk-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")) // any entry: time goes on
		h.do("nia", "", h.training(who, far))
	}
	switch n % 7 {
	case 0: // (f)(2)(i): an outside employer's man, and nobody told him
		h.desk(nil)
		h.step("eastfork", "hal", actLock("eastfork/mcc-1/main", "", "desk-1"))
		h.step("eastfork", "hal", actSignOn("desk-1"))
	case 1: // (f)(3)(ii)(C): who coordinates the crews is not trained any more
		h.desk(nil)
		h.do("mara", "", actCrew("desk-1", "first", "ravi", "olga"))
		h.do("mara", "", actCoordinator("desk-1", "olga", h.o.lead["desk-1"]))
		soon("olga")
	case 2: // (f)(3)(ii)(A): who answers for a crew is not
		h.desk(nil)
		h.do("mara", "", actCoordinator("desk-1", "ravi", h.o.lead["desk-1"]))
		h.do("mara", "", actCrew("desk-1", "second", "olga", "ravi"))
		soon("olga")
	case 3: // (c)(3)(ii): a tag alone, without the extra means or what makes a tag
		h.do("mara", "", actDescribe(&recordv1.DescribePoint{Point: "eastfork/mcc-1/main", Demonstration: "demo-1", Why: "shown in writing"}))
		for _, spoil := range []func(t *recordv1.Tag){
			func(t *recordv1.Tag) { t.Means = nil },
			func(t *recordv1.Tag) { t.TiePounds = 49 },
			func(t *recordv1.Tag) { t.ReadableMm = 1523 },
			func(t *recordv1.Tag) { t.Demonstration = "demo-9" },
		} {
			t := goodTag()
			spoil(t)
			h.desk(t)
		}
	case 4: // (c)(4)(i): one device for one person, and another goes in
		h.desk(nil)
		h.step("eastfork", "olga", actLock("eastfork/mcc-1/main", "", "desk-1"))
		h.step("eastfork", "olga", actSignOn("desk-1"))
	case 5: // common practice, no source: nobody works under a fumigant
		h.desk(nil)
		fog := h.do("dov", "eastfork", actFumigated("eastfork/office")).GetRef()
		h.do("mara", "eastfork", actFumigantCleared(fog, 301))
	default: // (c)(7)(iii): trained before what changed
		next, _ := h.version(zone)
		h.do("mara", "", procedureOf(zone, next))
		h.do("nia", "", approvalOf(zone, next))
		who := h.o.jobs["boot-1"].responsible
		h.do("nia", "", actTraining(who, recordv1.TrainingClass_TRAINING_CLASS_AUTHORISED, h.now-600_000, far, zone))
	}
}
