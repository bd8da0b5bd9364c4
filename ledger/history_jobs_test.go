package ledger_test

import (
	"maps"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Whole rounds done properly, with something wild in between.

func (h *history) oneJob() string { return h.pick("boot-1", "room-1", "both-1") }

func plainRounds() []occasion {
	return []occasion{
		{"work up", 16, func(h *history) { h.workUp(h.oneJob()) }},
		{"wind down", 16, func(h *history) { h.windDown(h.oneJob()) }},
		{"test round", 16, func(h *history) { h.testRound(h.oneJob()) }},
	}
}

// workUp takes a job to where work may start, if nothing wild gets in between.
func (h *history) workUp(id string) {
	j := oracleJobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	for _, ref := range slices.Sorted(maps.Keys(h.o.debts)) {
		if !h.odd(6) {
			h.together(h.o.debts[ref], actAcknowledge(ref))
		}
	}
	h.maybe("stonebend", "mara", actNotice(id, recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov"))
	h.maybe("stonebend", "mara", actShutDown(id))
	for _, p := range j.plan {
		h.maybe(home(p), "mara", h.actIsolate(p))
	}
	if h.odd(3) {
		p := h.pick(j.plan...)
		h.maybe("eastfork", "mara", actBoxAdd(p))
	}
	crew := []string{h.o.jobs[id].responsible}
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && s.job == id {
			crew = append(crew, s.by)
		}
	}
	for _, c := range crew {
		for _, p := range j.plan {
			h.maybe(home(p), c, actLock(p, "", id))
		}
	}
	h.now += 70_000
	h.maybe("stonebend", "mara", actStored(id, bucket))
	proofs, err := h.s.Graph().Proofs(j.zone, j.plan...)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, p := range proofs {
		h.maybe("stonebend", "ravi", actReading(id, p.Part, p.Medium, p.Kind, 0))
	}
	if h.odd(4) { // another crew finds something, and it is put right
		f := h.step("millrow", "dov", actFoundLive(h.anyJob(), motor)).GetRef()
		h.maybe("stonebend", "ravi", actCorrect(f))
	}
}

// windDown has everybody leave and asks for the start.
func (h *history) windDown(id string) {
	j := oracleJobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	hurried := h.odd(3) // forgets whoever is signed on elsewhere
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off && !(hurried && s.job != id) {
			h.maybe("stonebend", s.by, actSignOff(ref))
		}
	}
	for _, ref := range h.refs() {
		mine := slices.ContainsFunc(j.plan, func(p string) bool { return h.o.covers(h.o.holds[ref], p) })
		if x := h.o.holds[ref]; !x.off && !(hurried && !mine) {
			h.endHold(ref)
		}
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.maybe("stonebend", "mara", actClear(o))
		h.maybe("stonebend", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	rq, pts := h.ask("start-", id, j.plan)
	for _, p := range pts {
		switch h.comesBack() {
		case 0: // somebody comes back between the approval and the start
			h.step("millrow", "lena", actLockBox(keyBox, "", h.anyJob()), true)
		case 1:
			h.step("eastfork", "lena", actSignOn(h.anyJob()), true)
		case 2:
			h.step("eastfork", "tomas", actLock(p, "", ""), true)
		}
		h.maybe(home(p), "mara", actEnergise(rq, p))
	}
}

// ask requests the points of a plan that are open, and has every yard concerned
// confirm; it names no points when nothing is open or the request is refused.
func (h *history) ask(prefix, job string, plan []string) (request string, points []string) {
	h.n++
	request = prefix + decimal(uint64(h.n))
	for _, p := range plan {
		if !h.o.live[p] {
			points = append(points, p)
		}
	}
	if len(points) == 0 {
		return request, nil
	}
	h.together("mara", actRequest(request, job, h.now+1e7, points...))
	q := h.s.Reqs[request]
	if q == nil {
		return request, nil
	}
	for _, y := range q.Involved {
		h.straight(h.fence(y, request))
	}
	return request, points
}

// endHold takes a lock off as it should be: by its owner, who is found first; and
// if their key is too young, by two managers.
func (h *history) endHold(ref string) {
	x := h.o.holds[ref]
	if x.by == "" {
		h.together("tomas", actClaim(ref, "nia"))
	}
	if x.by != "" {
		h.maybe("stonebend", x.by, actRelease(ref))
	}
	if !x.off {
		h.together("max", actRemoval(ref, "ines"))
	}
}

// testRound asks for a test over whatever of a job's points is open, has the
// holders stand clear, one of them late now and then, and energises.
func (h *history) testRound(id string) {
	j := oracleJobs[id]
	for _, ref := range h.foundRefs() {
		h.step("stonebend", "ravi", actCorrect(ref))
	}
	for _, ref := range h.onRefs() {
		if s := h.o.ons[ref]; !s.off {
			h.maybe("stonebend", s.by, actSignOff(ref))
		}
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.maybe("stonebend", "mara", actClear(o))
		h.maybe("stonebend", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	var pts []string
	for _, p := range j.plan {
		if !h.o.live[p] {
			pts = append(pts, p)
		}
	}
	if len(pts) == 0 {
		return
	}
	h.n++
	rq := "test-" + decimal(uint64(h.n))
	h.together("mara", actTest(rq, id, h.now+1e7, pts...))
	q := h.s.Reqs[rq]
	if q == nil {
		return
	}
	hurried := h.odd(3)
	for _, ref := range h.refs() {
		x := h.o.holds[ref]
		if x.by == "" && !x.off {
			h.endHold(ref)
		}
		if x.off || hurried && h.odd(3) {
			continue
		}
		who := x.by
		if h.odd(4) {
			who = "tomas"
		}
		h.together(who, h.actStandClear(ref, rq))
	}
	for _, y := range q.Involved {
		h.straight(h.fence(y, rq))
	}
	for _, o := range []string{"boot-1", "room-1", "both-1"} {
		h.maybe("stonebend", "mara", actNotice(o, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	}
	for _, p := range pts {
		switch h.comesBack() {
		case 0:
			h.step("millrow", "lena", actLockBox(keyBox, "", h.anyJob()), true)
		case 1:
			h.step("eastfork", "lena", actSignOn(h.anyJob()), true)
		}
		h.maybe(home(p), "mara", actEnergise(rq, p))
	}
}

// comesBack says how somebody comes back between the approval and the start, which
// happens seldom.
func (h *history) comesBack() int {
	if h.calm {
		return -1
	}
	return h.rng.IntN(8)
}
