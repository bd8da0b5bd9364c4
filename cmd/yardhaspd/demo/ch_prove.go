package demo

import (
	"strings"
	"time"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// releaseStored drains the energy stored behind the locks. It waits until the drive's
// capacitors have discharged.
func releaseStored(s *story) {
	s.page.heading("What is stored behind the locks is let out",
		"A locked switch holds back the feed, not a charged capacitor nor the grain hanging in the buckets.")
	const bus = "stonebend/leg-2-drive-bus"
	end := s.opened.Add((shortWait + 1) * time.Second) // one second more than the ledger's clock can lag
	for _, st := range s.plan.GetStores() {
		if st.GetStore() != bus {
			s.done("ravi", "released "+st.GetStore()+": belt clamp set and pinned", actStored(st.GetStore(), st.GetRelease()))
		}
	}
	if wait := time.Until(end); wait > 0 && s.err == nil {
		t := time.NewTimer(wait)
		defer t.Stop()
		select {
		case <-t.C:
		case <-s.ctx.Done():
			s.fail("waiting for the capacitors: %w", s.ctx.Err())
		}
	}
	s.done("ravi", "released "+bus+": waited it out with the cover shut", actStored(bus, "waited with the cover shut, then read the DC terminals at 0 V"))
	j := s.job("ravi")
	s.expect(codesOf(j.GetToStart(), ledger.NotProved), "missing is %v, want only the proofs", codeList(j.GetToStart()))
	s.notYet(j)
}

// proveDead records every reading and every try that the plan lists.
func proveDead(s *story) {
	s.page.heading("The zone is proved dead where the hands will be",
		"\"Cut off\" is what a drawing says; only a meter, a gauge or sight at the work shows that it is so.")
	s.caughtUp()
	for i, p := range s.plan.GetProofs() {
		if i == len(s.plan.GetProofs())-1 {
			j := s.job("lena")
			s.expect(codesOf(j.GetToStart(), ledger.NotProved) && len(j.GetToStart()) == 1, "one proof is left, and missing is %v", codeList(j.GetToStart()))
			s.notYet(j)
		}
		s.prove(p)
	}
	j := s.job("lena")
	s.expect(j.GetStage() == recordv1.Stage_STAGE_WORK_MAY_START && len(j.GetToStart()) == 0, "every condition is met, and the job is %s, missing %v", j.GetStage(), codeList(j.GetToStart()))
	s.expect(j.GetAsOf().GetConfirmed() && j.GetCaution() == ledger.Caution, "said without confirmation or caution")
	s.page.act(j.GetAsOf().GetYard(), "lena", "looked at job "+jobID+" again: nothing is missing", "of "+entry(j.GetAsOf().GetSize()-1), known(j.GetAsOf()))
	s.page.permission("WORK MAY START on %s", zone)
}

// prove records one reading or try.
func (s *story) prove(p *servicev1.ProofView) {
	r := &recordv1.Reading{Job: jobID, Part: p.GetPart(), Medium: p.GetMedium(), Kind: p.GetKind()}
	who, what := "lena", ""
	switch p.GetKind() {
	case recordv1.ReadingKind_READING_KIND_METER:
		r.Instrument, r.ProvedBefore, r.ProvedAfter, r.PhaseToPhase, r.PhaseToGround = "meter 3", true, true, true, true
		what = "read 0 V at " + p.GetPart() + ", meter proved before and after"
	case recordv1.ReadingKind_READING_KIND_SIGHT:
		what = "saw no " + mediumWord(p.GetMedium()) + " at " + p.GetPart()
	case recordv1.ReadingKind_READING_KIND_TRY:
		who = keeper(p.GetPart())
		what = "tried " + p.GetPart() + ": nothing moved"
	default:
		s.fail("the script has no way to prove %s by %s", p.GetPart(), strings.ToLower(p.GetKind().String()))
		return
	}
	s.done(who, what, &recordv1.Record{Act: &recordv1.Record_Reading{Reading: r}})
}

// signOn has both people sign on to the zone.
func signOn(s *story) {
	s.page.heading("Both sign on to the zone and work",
		"From here the ledger counts heads: a person who signed on counts as inside until they sign off themselves.")
	s.caughtUp()
	for _, who := range []string{"ravi", "lena"} {
		r := s.done(who, "signed on to "+zone, actSignOn())
		s.ons[who] = r.GetRef()
	}
	j := s.job("ravi")
	s.expect(len(j.GetSignedOn()) == 2 && j.GetStage() == recordv1.Stage_STAGE_WORK_MAY_START, "%d are signed on, stage %s", len(j.GetSignedOn()), j.GetStage())
	s.page.say("They clear the boot.")
}
