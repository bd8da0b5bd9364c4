package demo

import (
	"crypto/sha256"
	"slices"
	"strings"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

const (
	jobID    = "boot-1"
	zone     = "stonebend/leg-2-boot"
	lockBox  = "stonebend/leg-2-box"
	tempting = "stonebend/head-house/leg-2-disconnect"
	control  = "stonebend/leg-2-control"
)

// computePlan shows that the obvious switch is not enough, and which points are.
func computePlan(s *story) {
	s.page.heading("The obvious switch, and the plan",
		"The boot of leg 2 is plugged. The disconnect beside the motor stops the leg, and a meter on the motor then reads nothing.")
	s.examine("only the disconnect beside the motor", tempting)
	s.examine("with both grain spouts blanked as well", tempting, "stonebend/boot-pit/bin-3-pan", "millrow/bridge/transfer-pan")
	if s.err != nil {
		return
	}
	p, err := s.who["ravi"].Plan(s.ctx, &servicev1.PlanRequest{Zone: zone})
	if !s.must(err, "compute the plan") {
		return
	}
	s.plan = p
	s.page.act(p.GetAsOf().GetYard(), "ravi", "had the plan for "+zone+" computed", "of "+entry(p.GetAsOf().GetSize()-1), known(p.GetAsOf()))
	s.page.say("computed on %s", strings.Join(p.GetDrawings(), ", "))
	s.page.permission("on these drawings this set of %d points, the fewest there is, isolates %s:", len(p.GetPoints()), zone)
	for _, point := range p.GetPoints() {
		s.page.line("     %s", point)
	}
	s.page.say("stays live near the work all the same: %s", strings.Join(p.GetStaysLive()[:min(4, len(p.GetStaysLive()))], ", ")+", ...")
	for _, st := range p.GetStores() {
		s.page.say("stored behind the locks: %s, %g J: %s", st.GetStore(), st.GetJoules(), st.GetRelease())
	}
	s.page.say("to be proved at the work: %d readings and tries", len(p.GetProofs()))
	s.expect(p.GetAsOf().GetConfirmed(), "the plan was not computed on a confirmed state")
	s.expect(p.GetIsolates() && p.GetFewest() && len(p.GetLive()) == 0, "no plan that isolates was found")
	s.expect(p.GetCaution() == ledger.Caution, "the plan comes without its caution: %q", p.GetCaution())
	s.expect(slices.Contains(p.GetPoints(), "millrow/control-panel/stonebend-leg-2"), "the plan %v leaves the control voltage from Millrow on", p.GetPoints())
	s.expect(slices.Equal(yardsOf(p.GetPoints()), []string{"millrow", "stonebend"}), "the plan's points are at %v", yardsOf(p.GetPoints()))
	s.expect(len(p.GetStores()) == 2 && len(p.GetProofs()) == 9, "%d stores and %d proofs, want 2 and 9", len(p.GetStores()), len(p.GetProofs()))
}

// examine shows that some points leave the zone live, and the way that energy takes.
func (s *story) examine(what string, points ...string) {
	if s.err != nil {
		return
	}
	p, err := s.who["ravi"].Plan(s.ctx, &servicev1.PlanRequest{Zone: zone, Points: points})
	if !s.must(err, "examine "+what) {
		return
	}
	s.page.act(p.GetAsOf().GetYard(), "ravi", "asked whether this is enough: "+what, "of "+entry(p.GetAsOf().GetSize()-1), "NOT CUT OFF")
	fed := false
	for _, l := range p.GetLive() {
		s.page.say("live: %s, from %s", l.GetPart(), l.GetSource())
		s.page.fold("         ", "           ", strings.Join(l.GetSteps(), " > "))
		fed = fed || l.GetPart() == control && l.GetSource() == "millrow/utility"
	}
	s.expect(!p.GetIsolates(), "%v pass as isolating %s", points, zone)
	s.expect(fed, "the control voltage from Millrow is not among what stays live: %v", p.GetLive())
	if len(points) > 1 {
		s.expect(len(p.GetLive()) == 1, "%d ways are live, want the control voltage alone", len(p.GetLive()))
		s.page.say("The control terminals stay at 120 V, and they come from Millrow, over a cable that no switch at Stonebend cuts.")
	}
}

// openJob opens the job with the plan.
func openJob(s *story) {
	s.page.heading("A job is opened, with the plan and the crew",
		"What a job has reached follows from what people recorded; nobody can tick it off.")
	exchange(s)
	s.done("ravi", "opened job "+jobID+" on "+zone+", crew ravi and lena", &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: jobID, Zone: zone, Plan: s.plan.GetPoints(), Responsible: "ravi", Crew: []string{"ravi", "lena", "tomas"}, Affected: []string{"dov"},
		Purpose: "clear the plugged boot of leg 2"}}})
	s.done("ravi", "told dov, before any lock goes on", actNotice(recordv1.NoticeWhen_NOTICE_WHEN_BEFORE))
}

// checkBeforeDriving shows the one screen that the contractor reads before the drive.
func checkBeforeDriving(s *story) {
	s.page.heading("The contractor looks before driving an hour",
		"One screen: how fresh it is comes first, then the job, then what is missing and who has to supply it.")
	j := s.job("lena")
	s.page.act(j.GetAsOf().GetYard(), "lena", "looked at job "+jobID, "of "+entry(j.GetAsOf().GetSize()-1), known(j.GetAsOf()))
	s.page.asOf(j.GetAsOf())
	s.page.say("| job %s: %s, at %s; responsible %s", j.GetId(), j.GetPurpose(), j.GetZone(), j.GetResponsible())
	s.page.say("| missing before anybody goes in:")
	s.page.conditions(j.GetToStart())
	s.page.say("| this is not permission: report, hang your own lock, verify")
	s.expect(j.GetAsOf().GetConfirmed(), "the contractor's screen is not confirmed")
	s.expect(len(j.GetAsOf().GetYards()) == 3, "the screen speaks of %d yards", len(j.GetAsOf().GetYards()))
	s.expect(codesOf(j.GetToStart(), ledger.NotShutDown, ledger.NotOpen, ledger.Stored, ledger.NotProved), "missing is %v", codeList(j.GetToStart()))
	s.notYet(j)
}

// notYet checks that the work of a job may not start.
func (s *story) notYet(j *recordv1.JobView) {
	s.expect(j.GetStage() != recordv1.Stage_STAGE_WORK_MAY_START && len(j.GetToStart()) > 0, "job %s may start already: %s", j.GetId(), j.GetStage())
}

func known(a *recordv1.AsOf) string {
	if a.GetConfirmed() {
		return "CONFIRMED"
	}
	return "UNCONFIRMED"
}

func codeList(cs []*recordv1.Finding) []code.Code {
	var out []code.Code
	for _, c := range cs {
		out = append(out, code.Of(c))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// codesOf reports whether the conditions have exactly these codes.
func codesOf(cs []*recordv1.Finding, want ...code.Code) bool {
	slices.Sort(want)
	return slices.Equal(codeList(cs), want)
}

func sum(raw []byte) []byte {
	h := sha256.Sum256(raw)
	return h[:]
}
