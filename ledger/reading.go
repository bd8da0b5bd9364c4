package ledger

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func readingKey(part string, m recordv1.Medium, k recordv1.ReadingKind) string {
	return fmt.Sprintf("%s %d %d", part, m, k)
}

// reading records a measurement. One that shows energy stops work, whoever took
// it; one that proves counts only from a person who may give it.
func (x *step) reading(r *recordv1.Reading) {
	s := x.s
	what := readingText(r)
	if r.GetMoved() || s.overLimit(r) {
		x.foundLive(r.GetJob(), r.GetPart(), what)
		return
	}
	j := x.job(r.GetJob())
	if j == nil {
		return
	}
	asked := slices.ContainsFunc(s.proofs[j.ID], func(p energy.Proof) bool {
		return p.Part == r.GetPart() && p.Medium == r.GetMedium() && p.Kind == r.GetKind()
	})
	for _, need := range []struct {
		bad              bool
		code, text, rule string
	}{
		{!x.ok, "NOT_PERMITTED", "taken by somebody who may not take it", "1910.147(d)(6)"},
		{r.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY && r.GetKind() == recordv1.ReadingKind_READING_KIND_METER && !x.who.Qualified,
			"NOT_QUALIFIED", "an electrical test needs a qualified person", "1910.333(b)(2)(iv)(B)"},
		{measures(r.GetKind()) && (r.GetInstrument() == "" || !r.GetProvedBefore() || !r.GetProvedAfter()),
			"NOT_PROVED", "the instrument was not proved before and after", "1910.333(b)(2)(iv)(B)"},
		{r.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY && r.GetKind() == recordv1.ReadingKind_READING_KIND_METER && !(r.GetPhaseToPhase() && r.GetPhaseToGround()),
			"INCOMPLETE", "phase to phase and phase to ground are both measured", "NFPA 70E 120.5(7)"},
		{x.clockDoubt(), "CLOCK_DOUBT", "the clock is in doubt: the reading counts as expired", "common practice, no source"},
		{!asked, "NOT_ASKED", "the current drawing asks for no such reading of this part", "1910.147(d)(6)"},
	} {
		if need.bad {
			x.flag(need.code, r.GetPart(), need.text+": the reading is kept and does not count", need.rule)
			return
		}
	}
	j.Readings[readingKey(r.GetPart(), r.GetMedium(), r.GetKind())] = &Proof{At: x.mark, Value: what}
	x.change("reading for %s by %s: %s", j.ID, x.who.ID, what)
}

// clockDoubt reports whether the time of capture can't be trusted: the yard says
// so of its clock, or the signer's is ahead of the ledger's time.
func (x *step) clockDoubt() bool {
	return x.env.GetClockDoubt() || x.rec.GetCapturedUnixMs() > x.s.Time+clockAhead
}

// measures reports whether a kind of reading needs an instrument that is proved.
func measures(k recordv1.ReadingKind) bool {
	return k == recordv1.ReadingKind_READING_KIND_METER || k == recordv1.ReadingKind_READING_KIND_GAS
}

// overLimit reports whether a value is above what counts as dead there. For
// electricity the limit itself is live: only parts below 50 V need not be
// de-energised, 1910.333(a)(1).
// A reading that nobody asked for is held to the limit of its kind: under a
// wrong medium, or none, energy is energy.
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

func readingText(r *recordv1.Reading) string {
	k := strings.ToLower(strings.TrimPrefix(r.GetKind().String(), "READING_KIND_"))
	m := strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(r.GetMedium().String(), "MEDIUM_")), "_", " ")
	if m == "unspecified" {
		m = "a control" // a try names none
	}
	if r.GetMoved() {
		return fmt.Sprintf("%s of %s at %s: it moved, lit or flowed", k, m, r.GetPart())
	}
	if k == "sight" || k == "try" {
		return fmt.Sprintf("%s of %s at %s: nothing moved", k, m, r.GetPart())
	}
	return fmt.Sprintf("%s of %s at %s: %g", k, m, r.GetPart(), r.GetValue())
}

// foundLive stops work on the job: its readings are void and its drawings are
// suspect until a qualified person has corrected and signed (design.md).
func (x *step) foundLive(job, part, what string) {
	s := x.s
	j := x.job(job)
	text := fmt.Sprintf("FOUND LIVE at %s by %s: %s", part, x.who.ID, what)
	if j == nil {
		// The job's name may be a slip; what was found is not.
		s.alarm("FOUND_LIVE", x.out.Ref, text, x.mark)
		s.suspect(x.out.Ref, YardOf(part), x.env.GetYard())
		x.change("%s", text)
		return
	}
	j.Found[x.out.Ref] = &Found{Ref: x.out.Ref, Part: part, What: what, At: x.mark}
	clear(j.Readings)
	people := namesOf(s.atWork(j, nil))
	s.alarm("FOUND_LIVE", x.out.Ref, fmt.Sprintf("%s. Job %s is stopped. Crew: %s", text, j.ID, strings.Join(people, ", ")), x.mark)
	s.suspect(x.out.Ref, s.drawingsOf(j)...)
	x.change("%s", text)
}

// suspect marks the drawings of yards until the record ref is corrected.
func (s *State) suspect(ref string, yards ...string) {
	for _, y := range yards {
		if d := s.Plans[y]; d != nil && !slices.Contains(d.Suspect, ref) {
			d.Suspect = append(d.Suspect, ref)
		}
	}
}

// foundAt is when something found live, or started without the ledger, was recorded;
// unset when none of that reference waits for correction.
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
		if a.Code == "FOUND_LIVE" && a.Subject == ref {
			return a.At
		}
	}
	return Mark{}
}

func (x *step) correctFoundLive(c *recordv1.CorrectFoundLive) {
	s, ref := x.s, RefOf(c.GetFound())
	if at := s.foundAt(ref); at.Set() && !at.seenBy(x.mark) {
		x.refuse("NOT_SEEN", ref, "this was written before the finding was known there: its cause can't have been corrected", "look again at the panel, then sign it anew", x.who.ID, "")
		return
	}
	done := false
	for _, id := range sorted(s.Jobs) {
		if f := s.Jobs[id].Found[ref]; f != nil && !f.Corrected.Set() {
			f.Corrected, done = x.mark, true
		}
	}
	done = done || slices.ContainsFunc(s.Alarms, func(a Alarm) bool { return a.Code == "FOUND_LIVE" && a.Subject == ref })
	done = x.startedCorrected(ref) || done
	if !done {
		x.refuse("UNKNOWN_FOUND_LIVE", ref, "no such record waits for correction", "read its reference on the board again", x.who.ID, "")
		return
	}
	for _, y := range sorted(s.Plans) {
		if d := s.Plans[y]; slices.Contains(d.Suspect, ref) {
			d.Suspect = slices.DeleteFunc(d.Suspect, func(r string) bool { return r == ref })
			d.Mended = x.mark
			d.Walked = Mark{} // it misled somebody: it is compared with the steel again
		}
	}
	s.clearAlarm("FOUND_LIVE", ref)
	x.change("%s found and corrected the cause of %s: %s; the drawing is walked and every reading taken again", x.who.ID, ref, c.GetCause())
}
