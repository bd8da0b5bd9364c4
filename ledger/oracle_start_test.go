package ledger_test

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// What the oracle demands before work starts on the leg and in the motor control room.

// atWork are the one responsible for a job and everybody signed on to it.
func (o *oracle) atWork(id string) []string {
	all := []string{o.jobs[id].responsible}
	for _, s := range o.ons {
		if !s.off && s.job == id {
			all = append(all, s.by)
		}
	}
	return all
}

// noWork returns a function that ends the test: work may start on the job, and should not.
func (o *oracle) noWork(id string) func(format string, a ...any) {
	return func(format string, a ...any) {
		o.t.Helper()
		o.t.Fatalf("work may start on "+id+", but "+format, a...)
	}
}

// mayStart demands of a job the facts that allow work.
func (o *oracle) mayStart(id string) {
	o.starts++
	j, must, fail := oracleJobs[id], o.atWork(id), o.noWork(id)
	o.mayStartActs(j, must, fail)
	o.mayStartDuties(id, must, fail)
	if len(o.found) > 0 {
		fail("something found live is not corrected: %v", o.found)
	}
	o.heldByAll(j, must, fail)
	o.proved(id, fail)
	round := func(f fact) bool {
		return !slices.ContainsFunc(j.plan, func(p string) bool { c, was := o.closed[p]; return was && !f.knows(c) })
	}
	if !slices.ContainsFunc(o.told[id], round) || !slices.ContainsFunc(o.shut[id], round) {
		fail("nobody was told, or nothing shut down, in this round")
	}
}

// heldByAll: every point of the plan is open, and held by everybody at work with a lock
// that was hung, or whose handle was tried, after the opening.
func (o *oracle) heldByAll(j oracleJob, must []string, fail func(string, ...any)) {
	for _, p := range j.plan {
		if o.live[p] {
			fail("%s is live", p)
		}
		for _, who := range must {
			if !o.holdsOpened(who, p) {
				fail("%s holds nothing that counts on %s", who, p)
			}
		}
	}
}

// holdsOpened reports whether somebody holds a point since its opening, or tried its
// handle since.
func (o *oracle) holdsOpened(who, p string) bool {
	after := func(f fact) bool { return f.knows(o.opened[p]) && f.captured >= o.opened[p].written }
	for _, h := range o.holds {
		if h.by != who || !o.counts(h, p) {
			continue
		}
		on := h.fact
		if b := o.box[p]; h.box != "" && b.index > on.index {
			on = b
		}
		if after(on) || slices.ContainsFunc(h.tried, after) {
			return true
		}
	}
	return false
}

// oracleWant is a reading that a zone needs.
type oracleWant struct {
	part   string
	medium recordv1.Medium
	kind   recordv1.ReadingKind
}

func oracleWants(z string) []oracleWant {
	el, motion := recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.Medium_MEDIUM_MOTION
	meter, sight, try := recordv1.ReadingKind_READING_KIND_METER, recordv1.ReadingKind_READING_KIND_SIGHT, recordv1.ReadingKind_READING_KIND_TRY
	if z == zone {
		return []oracleWant{{"stonebend/leg", motion, sight}, {motor, el, meter}, {coil, el, meter}, {coil, 0, try}, {start1, 0, try}}
	}
	return []oracleWant{{"stonebend/bus", el, meter}}
}

// proved: every reading that the zone needs was taken under lock on every point, and the
// loaded buckets of the leg are released.
func (o *oracle) proved(id string, fail func(string, ...any)) {
	j := oracleJobs[id]
	for _, v := range oracleWants(j.zone) {
		if !slices.ContainsFunc(o.readings[id], func(r oracleReading) bool {
			return r.part == v.part && r.medium == v.medium && r.kind == v.kind && o.afterOpening(j, r.fact, 0) &&
				!slices.ContainsFunc(j.plan, func(p string) bool { return !o.lockedBefore(r.fact, p) })
		}) {
			fail("%v is not proved", v)
		}
	}
	if j.zone == zone && !slices.ContainsFunc(o.stored[id], func(f fact) bool { return o.afterOpening(j, f, 60_000) }) {
		fail("the loaded buckets are not released")
	}
}

// afterOpening: it was captured some milliseconds or more after every opening was written
// down, and its writer knew of every opening and of every
// correction of what concerned the job.
func (o *oracle) afterOpening(j oracleJob, f fact, wait int64) bool {
	for _, p := range j.plan {
		if op := o.opened[p]; !f.knows(op) || f.captured < op.written+wait {
			return false
		}
	}
	return !slices.ContainsFunc(o.mended, func(m oracleMended) bool {
		return o.concerns(m.points, j) && !f.knows(m.fact)
	})
}

// lockedBefore: a lock that counts was on the point before, and its writer knew of it.
func (o *oracle) lockedBefore(f fact, p string) bool {
	for _, h := range o.holds {
		if !o.counts(h, p) || !f.knows(h.fact) || f.captured < h.written {
			continue
		}
		if h.box == "" || f.knows(o.box[p]) {
			return true
		}
	}
	return false
}
