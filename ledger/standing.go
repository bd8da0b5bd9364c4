package ledger

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// StartConditions lists what is missing before work may start on a job: none
// means it may, as this state knows it. Each names its clause and who can supply
// what is missing.
func (s *State) StartConditions(j *Job) []*recordv1.Finding { return s.StartConditionsAt(j, s.Time) }

// StartConditionsAt lists what is missing at a later moment, in Unix ms, with
// nothing recorded since: a re-check comes due, training ends. A screen asks with
// its own clock; what the ledger does goes by the ledger's time. In a zone that
// people enter, work needs a bin-entry permit in force as well.
func (s *State) StartConditionsAt(j *Job, at int64) []*recordv1.Finding {
	at = max(at, s.Time)
	return append(s.isolationConditions(j, at), s.permitMissing(j, at)...)
}

// isolationConditions lists what is missing of the isolation and its proof.
func (s *State) isolationConditions(j *Job, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(code, subject, text, remedy, who, clause string) {
		cs = append(cs, cond(code, subject, text, remedy, who, clause))
	}
	if !s.verdicts[j.ID].Isolates {
		text := "the plan does not cut " + j.Zone + " off on the current drawings"
		for _, p := range s.verdicts[j.ID].Live {
			text += fmt.Sprintf("; %s reaches %s by %s", p.Source, p.Part, strings.Join(p.Steps, " > "))
		}
		add("PLAN_DOES_NOT_ISOLATE", j.Zone, text, "compute the plan again and open a job with it", j.Responsible, "1910.147(d)(3)")
	}
	for _, y := range s.drawingsOf(j) {
		d := s.Plans[y]
		switch {
		case d == nil:
			add("NO_DRAWING", y, y+" has no drawing", "publish one", "supervisor or manager", "NFPA 70E 120.5(1)")
		case !d.Walked.Set():
			add("NOT_WALKED", y, fmt.Sprintf("nobody has walked the drawing of %s revision %d against the steel", y, d.Revision), "a qualified person walks it and signs", "a qualified person", "NFPA 70E 120.5(1)")
		case len(d.Suspect) > 0:
			add("SUSPECT_DRAWING", y, "something was found live on the drawing of "+y+": it can't be relied on", "a qualified person finds and corrects the cause", "a qualified person", "NFPA 70E 120.5(1)")
		}
	}
	for _, ref := range sorted(j.Found) {
		if f := j.Found[ref]; !f.Corrected.Set() {
			add("FOUND_LIVE", f.Part, "FOUND LIVE: "+f.What, "a qualified person finds and corrects the cause, then every reading is taken again", "a qualified person", "1910.147(d)(6)")
		}
	}
	for _, d := range s.debtors(j) {
		add("REMOVAL_NOT_ACKNOWLEDGED", d.Person, d.text(), "tell them; they acknowledge the removal with their own key", d.Person, "1910.147(e)(3)(iii)")
	}
	for _, st := range s.startedFor(j) {
		add("FOUND_STARTED", st.Ref, st.text(), "a qualified person finds and corrects the cause, then every reading is taken again", "a qualified person", "1910.147(d)(6)")
	}
	for _, p := range j.Affected {
		if m, told := j.ToldBefore[p]; !told || !s.closedBefore(j, m) {
			add("NOT_TOLD", p, p+" has not been told since the points were last closed", "tell them and record it", j.Responsible, "1910.147(c)(9)")
		}
	}
	if !j.ShutDown.Set() || !s.closedBefore(j, j.ShutDown) {
		add("NOT_SHUT_DOWN", j.Zone, "no orderly shut-down is recorded", "shut down and record it", j.Responsible, "1910.147(d)(2)")
	}
	cs = append(cs, s.workUnderFumigant(j)...)
	cs = append(cs, s.procedureConditions(j)...)
	cs = append(cs, s.crewConditions(j, at)...)
	cs = append(cs, s.pointConditions(j, at)...)
	cs = append(cs, s.proofConditions(j, at)...)
	return cs
}

// pointConditions: every plan point open, held by the responsible employee and
// by everyone signed on, and tried where the lock is older than the opening.
func (s *State) pointConditions(j *Job, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(code, subject, text, remedy, who, clause string) {
		cs = append(cs, cond(code, subject, text, remedy, who, clause))
	}
	must := []string{j.Responsible}
	for _, so := range s.signedOn(j.ID) {
		must = append(must, so.Person)
	}
	slices.Sort(must)
	must = slices.Compact(must)
	for _, p := range must {
		if who := s.People[p]; who == nil || !who.trained(at) {
			add("TRAINING_LAPSED", p, p+" has no current training as an authorised employee", "train them and record it", "supervisor or manager", "1910.147(c)(7)(i) (unchecked)")
		}
		if who := s.People[p]; who != nil && who.Retrain[j.Zone] != nil {
			add("RETRAIN", p, p+" is to be retrained: "+who.Retrain[j.Zone].Why, "train them on it and record it, naming "+j.Zone, "supervisor or manager", retrainClause)
		}
		cs = append(cs, s.exchangeConditions(j, p)...)
	}
	for _, id := range j.Plan {
		p := s.Points[id]
		if p == nil || p.Live || !p.Opened.Set() {
			add("NOT_OPEN", id, id+" is not recorded open", "open it at its panel and record it", "authorised employee", "1910.147(d)(3)")
			continue
		}
		holds, hung := s.Guarding(id), s.HoldsOn(id)
		for _, who := range must {
			mine := slices.DeleteFunc(slices.Clone(holds), func(h *Hold) bool { return h.Holder != who })
			tag := slices.IndexFunc(hung, func(h *Hold) bool { return h.Holder == who && !h.Equipment && !h.StoodClear() })
			if len(mine) == 0 && tag >= 0 && hung[tag].Box != "" && !hung[tag].TagOnly() {
				add("KEY_OF_NO_LOCK", id, s.lacks(hung[tag], id), "hang a lock on "+id+", put its key into the box, and prove afresh", who, boxClause)
				continue
			}
			if len(mine) == 0 && tag >= 0 {
				add("TAG_ONLY", id, s.lacks(hung[tag], id), "hang a lock where one goes on; else a tag with its legend and an extra means, and record them", who, tagClause)
				continue
			}
			if len(mine) == 0 {
				add("NO_LOCK", id, who+" has no lock on "+id, who+" hangs their own lock, there or on a box that holds its key", who, "1910.147(d)(4)(i)")
				continue
			}
			cs = append(cs, s.unfitPadlocks(mine, id)...)
			if !slices.ContainsFunc(mine, func(h *Hold) bool { return s.guards(h, p) }) {
				add("NOT_TRIED", id, fmt.Sprintf("%s was opened after %s hung their lock", id, who), who+" tries the handle against their lock and records it", who, "1910.147(d)(6)")
			}
		}
	}
	return cs
}

// guards reports whether a hold counts for work on a point: it is not older than
// the latest opening, by the records and by the clocks (a lock can wait in an
// outbox), or its owner tried the handle since (design.md).
func (s *State) guards(h *Hold, p *Point) bool {
	on := s.coveredSince(h, p.ID)
	return p.Opened.before(on) || h.Tried.Set() && p.Opened.before(h.Tried)
}

// proofConditions: every store released or waited out, every reading valid.
func (s *State) proofConditions(j *Job, at int64) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, st := range s.stores[j.ID] {
		m, done := j.Released[st.ID]
		what := fmt.Sprintf("stored energy in %s", st.ID)
		switch {
		case !done || !s.openedBefore(j, m, 0) || s.fault(j, m) != "":
			cs = append(cs, cond("STORED", st.ID, what+" is not released", st.Release, j.Responsible, "1910.147(d)(5)(i)"))
		case !s.openedBefore(j, m, int64(st.WaitSeconds)*1000):
			cs = append(cs, cond("STORED", st.ID, fmt.Sprintf("%s was released before the wait of %d s was over", what, st.WaitSeconds), "wait, then "+st.Release, j.Responsible, "1910.147(d)(5)(i)"))
		case st.BuildsUp && at > m.Time+int64(st.RecheckSeconds)*1000:
			cs = append(cs, cond("RECHECK", st.ID, fmt.Sprintf("%s can build up again and was not looked at for more than %d s", what, st.RecheckSeconds), "look again: "+st.Release, j.Responsible, "1910.147(d)(5)(ii)"))
		}
	}
	for _, p := range s.proofs[j.ID] {
		got := j.Readings[readingKey(p.Part, p.Medium, p.Kind)]
		clause := "1910.147(d)(6)"
		if strings.HasPrefix(p.Source, "29 CFR 1910.147") {
			clause = p.Source
		} else if p.Source != "" {
			clause += "; " + p.Source
		}
		if got == nil {
			cs = append(cs, cond("NOT_PROVED", p.Part, "not proved: "+p.Text, "take it at the point of work and record it", proofWho(p), clause))
		} else if why := s.voided(j, got); why != "" {
			cs = append(cs, cond("NOT_PROVED", p.Part, "the reading no longer counts: "+why, "take it again: "+p.Text, proofWho(p), clause))
		}
	}
	return cs
}

func proofWho(p energy.Proof) string {
	if p.Medium == recordv1.Medium_MEDIUM_ELECTRICITY && p.Kind == recordv1.ReadingKind_READING_KIND_METER {
		return "a qualified person"
	}
	return "authorised employee"
}

// openedBefore reports whether every plan point was opened at least wait ms before
// m, as far as the writer of m and the clocks can tell.
func (s *State) openedBefore(j *Job, m Mark, wait int64) bool {
	for _, id := range j.Plan {
		p := s.Points[id]
		if p == nil || !p.Opened.Set() || !p.Opened.before(m) || m.Time < p.Opened.Late+wait {
			return false
		}
	}
	return true
}

// closedBefore reports whether m is from after the last time that a plan point
// was closed: a new round of work has its own notice and shut-down, (f)(1)(v).
func (s *State) closedBefore(j *Job, m Mark) bool {
	for _, id := range j.Plan {
		if p := s.Points[id]; p != nil && p.Closed.Set() && !p.Closed.before(m) {
			return false
		}
	}
	return true
}

// fault says what was found live, on the job or on a drawing it rests on, and not
// corrected before m as the writer of m knew it; "" when nothing.
func (s *State) fault(j *Job, m Mark) string {
	for _, ref := range sorted(j.Found) {
		if f := j.Found[ref]; !f.Corrected.Set() || !f.Corrected.before(m) {
			return "something was found live after it"
		}
	}
	// What made a reading void may lie where the zone's reach has ended since.
	if n := s.Narrowed[j.Zone]; n.Set() && !n.before(m) {
		return "fewer points reach " + j.Zone + " since"
	}
	for _, y := range s.drawingsOf(j) {
		if d := s.Plans[y]; d != nil && d.Mended.Set() && !d.Mended.before(m) {
			return "something was found live on the drawing of " + y + " after it"
		}
	}
	return ""
}

// voided says why a reading no longer counts, "" when it does: it must be taken
// after the latest opening of every plan point, with every plan point locked and
// unbroken since (design.md; decisions.md 18).
func (s *State) voided(j *Job, r *Proof) string {
	for _, id := range j.Plan {
		p := s.Points[id]
		if p == nil || p.Live {
			return id + " is not open"
		}
		if !p.Opened.before(r.At) {
			return id + " was opened after it, or its taker could not know"
		}
		unbroken := slices.ContainsFunc(s.Guarding(id), func(h *Hold) bool { return s.coveredBefore(h, id, r.At) })
		if !unbroken {
			return id + " was not locked without a break since"
		}
	}
	return s.fault(j, r.At)
}

// cleared reports whether the area was looked over, complete, after the last
// person and lock went on, by somebody who knew of them.
func (j *Job) cleared() bool {
	return j.Cleared.Set() && j.LastOn.before(j.Cleared) && j.LastHold.before(j.Cleared)
}

// clearConditions lists what (e)(1) and 1910.333(b)(2)(v) ask of a job.
func (j *Job) clearConditions() []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(code, subject, text, remedy, who, clause string) {
		cs = append(cs, cond(code, subject, text, remedy, who, clause))
	}
	if !j.cleared() {
		add("NOT_CLEAR", j.ID, "the area is not recorded clear since the last person or lock went on: tools out, guards on, grounds off and counted", "look it over and record it", j.Responsible, "1910.147(e)(1)")
	}
	if j.GroundsLeft != 0 {
		add("GROUNDS", j.ID, fmt.Sprintf("%d temporary grounds or jumpers are not accounted for", j.GroundsLeft), "take them off and count them", j.Responsible, "1910.333(b)(2)(v)")
	}
	return cs
}

// releaseConditions lists what (e)(1), (e)(2) and 1910.333(b)(2)(v) ask of a job
// before a point that concerns it may be energised.
// A test is asked for before the holders stand clear, so what people are told
// after the last lock came off can only follow: it is asked for at the energise.
func (s *State) releaseConditions(j *Job, asking bool) []*recordv1.Finding {
	cs := j.clearConditions()
	add := func(code, subject, text, remedy, who, clause string) {
		cs = append(cs, cond(code, subject, text, remedy, who, clause))
	}
	for _, so := range s.signedOn(j.ID) {
		add("SIGNED_ON", so.Person, so.Person+" is still signed on to "+j.Zone, so.Person+" leaves the zone and signs off", so.Person, "1910.147(e)(2)(i)")
	}
	for _, p := range j.Affected {
		if m, told := j.ToldAfter[p]; !asking && (!told || !j.LastOff.before(m) || !j.LastHold.before(m)) {
			add("NOT_TOLD", p, p+" has not been told after the last lock came off", "tell them and record it", j.Responsible, "1910.147(e)(2)(ii)")
		}
	}
	for _, ref := range sorted(j.Found) {
		if f := j.Found[ref]; !f.Corrected.Set() {
			add("FOUND_LIVE", f.Part, "FOUND LIVE and not corrected: "+f.What, "a qualified person finds and corrects the cause", "a qualified person", "")
		}
	}
	return cs
}

// watchStandings notes, after each record, since when a job's work may start, and
// raises it when that stops while people are signed on.
func (s *State) watchStandings(at Mark) {
	for _, id := range sorted(s.Jobs) {
		j := s.Jobs[id]
		if j.Closed.Set() {
			continue
		}
		s.protectedAgain(j)
		cs := s.StartConditions(j)
		switch {
		case len(cs) == 0:
			if !j.Met.Set() {
				j.Met = at // unset still after an entry that nobody signed
			}
			j.Stopped = ""
			s.clearAlarm("STOPPED", id)
		case len(s.signedOn(id)) > 0 && (j.Met.Set() || j.Stopped == ""):
			// Whoever entered before it was ready is told to stop as well.
			j.Met, j.Stopped = Mark{}, cmp.Or(worst(cs).GetText(), worst(cs).GetCode())
		default:
			j.Met = Mark{}
		}
		if j.Stopped == "" {
			continue
		}
		var names []string
		for _, so := range s.signedOn(id) {
			names = append(names, so.Person)
		}
		slices.Sort(names)
		names = slices.Compact(names)
		if len(names) == 0 {
			j.Stopped = ""
			s.clearAlarm("STOPPED", id)
			continue
		}
		s.alarm("STOPPED", id, fmt.Sprintf("STOP WORK on %s: %s. Signed on: %s", id, j.Stopped, strings.Join(names, ", ")), at)
	}
}

// worst is the condition to be read first: what may be live, before what is owed.
func worst(cs []*recordv1.Finding) *recordv1.Finding {
	for _, code := range []string{"FOUND_LIVE", "FOUND_STARTED", "NOT_OPEN", "NO_LOCK"} {
		if i := slices.IndexFunc(cs, func(c *recordv1.Finding) bool { return c.GetCode() == code }); i >= 0 {
			return cs[i]
		}
	}
	return cs[0]
}

// StageOf is what a job has reached, from its facts.
func (s *State) StageOf(j *Job) recordv1.Stage { return s.stageAt(j, s.Time) }

func (s *State) stageAt(j *Job, at int64) recordv1.Stage {
	if j.Closed.Set() {
		return recordv1.Stage_STAGE_CLOSED
	}
	if j.Stopped != "" || s.uncorrected(j) {
		return recordv1.Stage_STAGE_STOPPED
	}
	for _, id := range sorted(s.Reqs) {
		q := s.Reqs[id]
		if q.Job != j.ID || q.By.Index < j.LastHold.Index() {
			continue
		}
		switch q.State {
		case recordv1.RequestState_REQUEST_STATE_AWAITING:
			return recordv1.Stage_STAGE_REQUESTED
		case recordv1.RequestState_REQUEST_STATE_APPROVED:
			if s.Time >= q.Deadline || len(s.againstStart(j, q, q.Points)) > 0 {
				return recordv1.Stage_STAGE_REQUESTED // the energise would be refused
			}
			return recordv1.Stage_STAGE_APPROVED
		case recordv1.RequestState_REQUEST_STATE_DONE:
			if s.anyLive(j.Plan) {
				return recordv1.Stage_STAGE_ENERGISED
			}
		}
	}
	cs := s.StartConditionsAt(j, at)
	has := func(codes ...string) bool {
		return slices.ContainsFunc(cs, func(c *recordv1.Finding) bool { return slices.Contains(codes, c.GetCode()) })
	}
	anyHold := false
	for _, p := range j.Plan {
		anyHold = anyHold || len(s.HoldsOn(p)) > 0
	}
	out := j.cleared() && len(s.signedOn(j.ID)) == 0
	switch {
	case out && j.LastOff.Set() && !anyHold && !s.anyLive(j.Plan):
		return recordv1.Stage_STAGE_RELEASED
	case out:
		return recordv1.Stage_STAGE_CLEARED
	case len(cs) == 0:
		return recordv1.Stage_STAGE_WORK_MAY_START
	case has("NOT_TOLD"):
		return recordv1.Stage_STAGE_PLANNED
	case has("NOT_SHUT_DOWN"):
		return recordv1.Stage_STAGE_TOLD
	case has("NOT_OPEN"):
		return recordv1.Stage_STAGE_SHUT_DOWN
	case has("NO_LOCK", "NOT_TRIED", "TAG_ONLY"):
		return recordv1.Stage_STAGE_OPENED
	case has("STORED", "RECHECK"):
		return recordv1.Stage_STAGE_LOCKED
	}
	return recordv1.Stage_STAGE_DRAINED
}

func (s *State) anyLive(points []string) bool {
	return slices.ContainsFunc(points, func(p string) bool { return s.Points[p] != nil && s.Points[p].Live })
}

func (s *State) uncorrected(j *Job) bool {
	for _, f := range j.Found {
		if !f.Corrected.Set() {
			return true
		}
	}
	return false
}
