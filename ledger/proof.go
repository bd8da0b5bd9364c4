package ledger

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardhasp/ledger/code"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	proofClause = "1910.147(d)(6)"
	meterClause = "1910.333(b)(2)(iv)(B)"
	noSource    = "common practice, no source"
)

var _ = declare(
	kind((*recordv1.Record).GetReading, Kind{Name: "reading", Called: "reading", Class: Asserts, May: whoHas(authorised, contractor), Clause: proofClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(r *recordv1.Reading) About { return About{Job: r.GetJob()} },
		func(f *fields, a *recordv1.Reading) {
			f.name("job", a.GetJob())
			f.place("part", a.GetPart())
			f.must(a.GetKind() != 0, "kind", "form-known") // a kind from a later release may mean that energy was found
			f.number("value", a.GetValue())
			f.optionalText("instrument", a.GetInstrument())
		},
		(*step).reading),
	kind((*recordv1.Record).GetFoundLive, Kind{Name: "found_live", Called: "found live", Class: Protects, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(l *recordv1.FoundLive) About { return About{Job: l.GetJob()} },
		func(f *fields, a *recordv1.FoundLive) {
			f.name("job", a.GetJob())
			f.optionalText("part", a.GetPart())
			f.text("what", a.GetWhat())
		},
		(*step).foundLive),
	kind((*recordv1.Record).GetCorrectFoundLive, Kind{Name: "correct_found_live", Called: "correct", Class: Lifts, May: whoIsQualified(), Clause: noClause, By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(c *recordv1.CorrectFoundLive) About { return About{Record: RefOf(c.GetFound())} },
		func(f *fields, a *recordv1.CorrectFoundLive) {
			f.ref("found", a.GetFound())
			f.text("cause", a.GetCause())
		},
		(*step).correctFoundLive),
)

// These say what a reading showed. A try names no medium.
var (
	ReadValue = code.New("READ_VALUE", code.Row{Args: "kind:word medium:word part value:text"})
	ReadMoved = code.New("READ_MOVED", code.Row{Args: "kind:word medium:word part"})
	ReadStill = code.New("READ_STILL", code.Row{Args: "kind:word medium:word part"})
)

// These say why a reading is kept but does not count.
var (
	ReaderMayNot = code.New("READER_MAY_NOT", code.Row{Args: "person part", Clause: proofClause})
	// NotQualified: a person who is not qualified took an electrical test.
	NotQualified      = code.New("NOT_QUALIFIED", code.Row{Args: "person part", Clause: meterClause, Who: "a-qualified-person"})
	MeterNotProved    = code.New("METER_NOT_PROVED", code.Row{Args: "part", Clause: meterClause, Who: "the-signer"})
	ReadingIncomplete = code.New("READING_INCOMPLETE", code.Row{Args: "part", Clause: "NFPA 70E 120.5(7)", Who: "the-signer"})
	ReadingNotAsked   = code.New("NOT_ASKED", code.Row{Args: "part", Clause: proofClause})
	// ClockDoubt: the time at which something was recorded cannot be relied on.
	ClockDoubt   = code.New("CLOCK_DOUBT", code.Row{Args: "about", Clause: noSource, Who: "the-signer"})
	ReadingTaken = code.New("READING_TAKEN", code.Row{Args: "job person reading:why"})
)

// These say why a proof no longer counts. Each is about the reading that supports it.
var (
	OpenedSince    = code.New("OPENED_SINCE", code.Row{Args: "point"})
	NotLockedSince = code.New("NOT_LOCKED_SINCE", code.Row{Args: "point"})
	FoundLiveSince = code.New("FOUND_LIVE_SINCE", code.Row{Args: "record"})
	NarrowedSince  = code.New("NARROWED_SINCE", code.Row{Args: "zone"})
	MendedSince    = code.New("MENDED_SINCE", code.Row{Args: "yard"})
)

var (
	// NotProved: a reading is missing or no longer counts. The argument because says
	// why, and by says who must take it.
	NotProved = code.New("NOT_PROVED", code.Row{Args: "part proof:text because:why clause job kind:word by:word", Who: "{by}", Next: "yardhasp reading {job} {part} --kind {kind}"})
	// FoundLive: there is energy where none should be. The arguments job and people are
	// the job and the people that it stops.
	FoundLive = code.New("FOUND_LIVE", code.Row{Args: "part person what:text reading:why record job people", Clause: proofClause, Who: "a-qualified-person", Next: "yardhasp correct {record} --cause CAUSE"})
	// FoundNotSeen: the record corrects a finding that its yard did not yet know of.
	FoundNotSeen     = code.New("FOUND_NOT_SEEN", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp correct {record} --cause CAUSE"})
	UnknownFoundLive = code.New("UNKNOWN_FOUND_LIVE", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	CauseCorrected   = code.New("CAUSE_CORRECTED", code.Row{Args: "record person cause:text"})
)

// Proof is one reading. It counts as long as nothing voids it.
type Proof struct {
	At Mark `json:"at"`
}

// Found is energy found where none should be, told in words or shown by a reading.
type Found struct {
	Ref       string            `json:"ref"`
	Part      string            `json:"part"`
	What      string            `json:"what,omitempty"`
	Reading   *recordv1.Finding `json:"reading,omitempty"`
	At        Mark              `json:"at"`
	Corrected Mark              `json:"corrected"`
}

// finding says what was found. job is the job it stops, and people are those at risk
// there.
func (f *Found) finding(job string, people []string) *recordv1.Finding {
	return FoundLive.About(f.Part, f.Part, f.At.By, f.What, f.Reading, f.Ref, job, people)
}

// foundConditions lists what was found live on a job and is not corrected.
func (j *Job) foundConditions() []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, ref := range sorted(j.Found) {
		if f := j.Found[ref]; !f.Corrected.Set() {
			cs = append(cs, f.finding(j.ID, nil))
		}
	}
	return cs
}

func readingKey(part string, m recordv1.Medium, k recordv1.ReadingKind) string {
	return fmt.Sprintf("%s %d %d", part, m, k)
}

// reading records a measurement. A reading that shows energy stops work, whoever took
// it. A reading that proves no energy counts only from a person who may give it.
func (x *step) reading(r *recordv1.Reading) {
	s := x.s
	if r.GetMoved() || s.overLimit(r) {
		x.energyFound(r.GetJob(), &Found{Part: r.GetPart(), Reading: readingFinding(r)})
		return
	}
	j := x.job(r.GetJob())
	if j == nil {
		return
	}
	asked := slices.ContainsFunc(s.proofs[j.ID], func(p energy.Proof) bool {
		return p.Part == r.GetPart() && p.Medium == r.GetMedium() && p.Kind == r.GetKind()
	})
	meter := r.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY && r.GetKind() == recordv1.ReadingKind_READING_KIND_METER
	for _, need := range []struct {
		bad bool
		why *recordv1.Finding
	}{
		{!x.ok, ReaderMayNot.About(r.GetPart(), x.who.ID, r.GetPart())},
		{meter && !x.who.Qualified, NotQualified.About(r.GetPart(), x.who.ID, r.GetPart())},
		{measures(r.GetKind()) && (r.GetInstrument() == "" || !r.GetProvedBefore() || !r.GetProvedAfter()), MeterNotProved.About(r.GetPart(), r.GetPart())},
		{meter && !(r.GetPhaseToPhase() && r.GetPhaseToGround()), ReadingIncomplete.About(r.GetPart(), r.GetPart())},
		{x.clockDoubt(), ClockDoubt.About(r.GetPart(), r.GetPart())},
		{!asked, ReadingNotAsked.About(r.GetPart(), r.GetPart())},
	} {
		if need.bad {
			x.out.Flags = append(x.out.Flags, need.why)
			return
		}
	}
	j.Readings[readingKey(r.GetPart(), r.GetMedium(), r.GetKind())] = &Proof{At: x.mark}
	x.did(ReadingTaken, r.GetPart(), j.ID, x.who.ID, readingFinding(r))
}

// clockDoubt reports whether the time of capture cannot be trusted. The yard says so of
// its clock, or the signer's clock is ahead of the ledger's time.
func (x *step) clockDoubt() bool {
	return x.env.GetClockDoubt() || x.rec.GetCapturedUnixMs() > x.s.Time+clockAhead
}

// measures reports whether a kind of reading needs a proved instrument.
func measures(k recordv1.ReadingKind) bool {
	return k == recordv1.ReadingKind_READING_KIND_METER || k == recordv1.ReadingKind_READING_KIND_GAS
}

// overLimit reports whether a value is above what counts as dead there. For electricity
// the limit itself is live: only parts below 50 V need not be de-energised,
// 1910.333(a)(1). A reading that no proof asks for is held to the limit of its kind.
// Energy is energy, even under a wrong medium or none.
func (s *State) overLimit(r *recordv1.Reading) bool {
	value := math.Abs(r.GetValue())
	if r.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY || r.GetKind() == recordv1.ReadingKind_READING_KIND_METER {
		return value >= touchVolts
	}
	for _, p := range s.proofs[r.GetJob()] {
		if p.Part == r.GetPart() && p.Kind == r.GetKind() && (p.Medium == r.GetMedium() || r.GetMedium() == 0) {
			return value > p.Limit
		}
	}
	switch r.GetKind() {
	case recordv1.ReadingKind_READING_KIND_GAUGE:
		return value > 0
	case recordv1.ReadingKind_READING_KIND_THERMOMETER:
		return value > touchDegrees
	}
	return false
}

// readingKindWord and mediumWord are catalogue words, as commands write them: "meter",
// "fuel-gas".
func readingKindWord(k recordv1.ReadingKind) string { return enumWord(k, "READING_KIND_") }

func mediumWord(m recordv1.Medium) string {
	if m == recordv1.Medium_MEDIUM_UNSPECIFIED {
		return "a-control" // a try names none
	}
	return enumWord(m, "MEDIUM_")
}

// readingFinding says what a reading showed.
func readingFinding(r *recordv1.Reading) *recordv1.Finding {
	k, m, part := readingKindWord(r.GetKind()), mediumWord(r.GetMedium()), r.GetPart()
	switch {
	case r.GetMoved():
		return ReadMoved.About(part, k, m, part)
	case r.GetKind() == recordv1.ReadingKind_READING_KIND_SIGHT || r.GetKind() == recordv1.ReadingKind_READING_KIND_TRY:
		return ReadStill.About(part, k, m, part)
	}
	return ReadValue.About(part, k, m, part, fmt.Sprintf("%g", r.GetValue()))
}

func (x *step) foundLive(l *recordv1.FoundLive) {
	x.energyFound(l.GetJob(), &Found{Part: l.GetPart(), What: l.GetWhat()})
}

// energyFound stops work on the job. Its readings are void. Its drawings are suspect
// until a qualified person has corrected them and signed (design.md).
func (x *step) energyFound(job string, f *Found) {
	s := x.s
	f.Ref, f.At = x.out.Ref, x.mark
	if j := x.job(job); j != nil {
		j.Found[f.Ref] = f
		clear(j.Readings)
		s.suspect(f.Ref, s.drawingsOf(j)...)
		x.foundAlarm(f.finding(j.ID, namesOf(s.atWork(j, nil))))
		return
	}
	// The name of the job may be a slip, but the energy was found all the same.
	s.suspect(f.Ref, YardOf(f.Part), x.env.GetYard())
	x.foundAlarm(f.finding("", nil))
}

func (x *step) foundAlarm(f *recordv1.Finding) {
	x.s.raise(x.out.Ref, f, x.mark)
	x.out.Did = append(x.out.Did, f)
}

// suspect marks the drawings of these yards until the record ref is corrected.
func (s *State) suspect(ref string, yards ...string) {
	for _, y := range yards {
		if d := s.Drawings[y]; d != nil && !slices.Contains(d.Suspect, ref) {
			d.Suspect = append(d.Suspect, ref)
		}
	}
}

// foundAt is when something found live, or started without the ledger, was recorded. It
// is unset when nothing of that reference waits for correction.
func (s *State) foundAt(ref string) Mark {
	for _, id := range sorted(s.Jobs) {
		if f := s.Jobs[id].Found[ref]; f != nil {
			return f.At
		}
	}
	if st := s.Started[ref]; st != nil {
		return st.At
	}
	for _, a := range s.Alarms {
		if a.Code == string(FoundLive) && a.Subject == ref {
			return a.At
		}
	}
	return Mark{}
}

func (x *step) correctFoundLive(c *recordv1.CorrectFoundLive) {
	s, ref := x.s, RefOf(c.GetFound())
	if at := s.foundAt(ref); at.Set() && !at.seenBy(x.mark) {
		x.deny(FoundNotSeen, ref, ref)
		return
	}
	done := false
	for _, id := range sorted(s.Jobs) {
		if f := s.Jobs[id].Found[ref]; f != nil && !f.Corrected.Set() {
			f.Corrected, done = x.mark, true
		}
	}
	done = done || slices.ContainsFunc(s.Alarms, func(a Alarm) bool { return a.Code == string(FoundLive) && a.Subject == ref })
	done = x.startedCorrected(ref) || done
	if !done {
		x.deny(UnknownFoundLive, ref, ref)
		return
	}
	for _, y := range sorted(s.Drawings) {
		if d := s.Drawings[y]; slices.Contains(d.Suspect, ref) {
			d.Suspect = slices.DeleteFunc(d.Suspect, func(r string) bool { return r == ref })
			d.Mended = x.mark
			d.Walked = Mark{} // the drawing misled somebody, so it must be compared with the steel again
		}
	}
	s.lower(FoundLive, ref)
	x.did(CauseCorrected, ref, ref, x.who.ID, c.GetCause())
}

// proofConditions checks that every reading the drawings ask for is taken and counts.
func (s *State) proofConditions(j *Job) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, p := range s.proofs[j.ID] {
		clause := proofClause
		if strings.HasPrefix(p.Source, "29 CFR 1910.147") {
			clause = p.Source
		} else if p.Source != "" {
			clause += "; " + p.Source
		}
		by := "authorised"
		if p.Medium == recordv1.Medium_MEDIUM_ELECTRICITY && p.Kind == recordv1.ReadingKind_READING_KIND_METER {
			by = "a-qualified-person"
		}
		got := j.Readings[readingKey(p.Part, p.Medium, p.Kind)]
		var because *recordv1.Finding
		if got != nil {
			because = s.voided(j, got)
		}
		if got == nil || because != nil {
			cs = append(cs, NotProved.About(p.Part, p.Part, p.Text, because, clause, j.ID, readingKindWord(p.Kind), by))
		}
	}
	return cs
}

// openedBefore reports whether every plan point was opened at least wait ms before m.
// The writer of m must have known of the opening, and the clocks must agree.
func (s *State) openedBefore(j *Job, m Mark, wait int64) bool {
	for _, id := range j.Plan {
		p := s.Points[id]
		if p == nil || !p.Opened.Set() || !p.Opened.before(m) || m.Time < p.Opened.Late+wait {
			return false
		}
	}
	return true
}

// closedBefore reports whether m is later than the last closing of any plan point. A new
// round of work needs its own notice and shut-down, 1910.147(f)(1)(v).
func (s *State) closedBefore(j *Job, m Mark) bool {
	for _, id := range j.Plan {
		if p := s.Points[id]; p != nil && p.Closed.Set() && !p.Closed.before(m) {
			return false
		}
	}
	return true
}

// fault says what was found live, on the job or on a drawing it rests on, unless the
// writer of m knew that it was corrected before m. It is nil when there is nothing.
func (s *State) fault(j *Job, m Mark) *recordv1.Finding {
	for _, ref := range sorted(j.Found) {
		if f := j.Found[ref]; !f.Corrected.Set() || !f.Corrected.before(m) {
			return FoundLiveSince.About(ref, ref)
		}
	}
	// The zone was narrowed since. Something that voided a reading may lie in the part
	// of its reach that was taken out.
	if n := s.Narrowed[j.Zone]; n.Set() && !n.before(m) {
		return NarrowedSince.About(j.Zone, j.Zone)
	}
	for _, y := range s.drawingsOf(j) {
		if d := s.Drawings[y]; d != nil && d.Mended.Set() && !d.Mended.before(m) {
			return MendedSince.About(y, y)
		}
	}
	return nil
}

// voided says why a reading no longer counts. It is nil when the reading counts. It must
// be taken after the latest opening of every plan point, and every plan point must have
// been locked without a break since (design.md; decisions.md 18).
func (s *State) voided(j *Job, r *Proof) *recordv1.Finding {
	for _, id := range j.Plan {
		p := s.Points[id]
		if p == nil || p.Live {
			return NotOpen.About(id, id)
		}
		if !p.Opened.before(r.At) {
			return OpenedSince.About(id, id)
		}
		unbroken := slices.ContainsFunc(s.Guarding(id), func(h *Hold) bool { return s.coveredBefore(h, id, r.At) })
		if !unbroken {
			return NotLockedSince.About(id, id)
		}
	}
	return s.fault(j, r.At)
}
