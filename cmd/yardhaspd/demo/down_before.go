package demo

import (
	"time"

	"yardhasp/client/token"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// linkDown is the script in which a link fails.
var linkDown = []func(*story){
	twoJobs, linkFails, lockCutOff, startAsked, otherJob, powerFails, linkBack, startRefused, verifyOffline,
}

const (
	cutYard   = "millrow"
	ownPoint  = "millrow/bridge/transfer-pan"
	ownSecond = "millrow/control-panel/stonebend-leg-2"
	farPoint  = "stonebend/boot-pit/bin-3-pan"

	liftJob  = "lift-1"
	liftZone = "eastfork/truck-lift"
)

func (p *page) openingLinkDown() {
	p.line("The link of one yard fails in the middle of a job, at the Three Forks Grain Co-op, an invention of ours.")
	p.line("Each yard's replica is a process of its own on this machine; this program stands between them and cuts a yard off.")
	p.line("A yard that nobody can reach still has people with their hands in machines. The others can't see their locks.")
	p.line("So nothing that could reach them may be started until that yard has spoken. Watch how.")
	p.line("")
	p.line("A line reads: yard that wrote it, who, what, where it stands in the ledger, what they may rely on.")
}

// quietly runs steps that the other scenario shows at length.
func (s *story) quietly(steps ...func(*story)) {
	s.page.muted = true
	defer func() { s.page.muted = false }()
	for _, step := range steps {
		if step(s); s.err != nil {
			return
		}
	}
}

// twoJobs brings two jobs to the point where only the start is missing.
func twoJobs(s *story) {
	s.page.heading("Three yards, two jobs that are nearly over",
		"How a job gets this far is what \"yardhaspd demo\" shows; here it was done quietly, and checked all the same.")
	s.quietly(foundLedger, bringPeople, irisJoins, drawYards, computePlan, openBoot, shutDownAndOpen, lockOn, comeOut, openLift)
	if s.err != nil {
		return
	}
	b, err := s.who["mara"].Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
	if !s.must(err, "mara reads the board") {
		return
	}
	s.page.act(b.GetAsOf().GetYard(), "mara", "read the board", "of "+entry(b.GetAsOf().GetSize()-1), known(b.GetAsOf()))
	s.page.asOf(b.GetAsOf())
	for _, j := range b.GetJobs() {
		s.page.say("| job %s: %s; responsible %s; switched off at:", j.GetId(), j.GetPurpose(), j.GetResponsible())
		for _, p := range j.GetPlan() {
			s.page.line("   |   %s", p)
		}
	}
	s.page.say("| locks: none. Both crews took theirs off before anybody went in, and looked the area over.")
	s.expect(b.GetAsOf().GetConfirmed() && len(b.GetHolds()) == 0 && len(b.GetJobs()) == 2 && len(b.GetAlarms()) == 0, "the board: %d locks, %d jobs, alarms %v", len(b.GetHolds()), len(b.GetJobs()), codeList(b.GetAlarms()))
	s.page.say("Job %s needs points at Stonebend and at Millrow. Job %s is Eastfork's own affair.", jobID, liftJob)
}

// irisJoins enrols a mechanic at the third yard, and registers her padlock and one of
// Tomas.
func irisJoins(s *story) {
	iris := cast()[1]
	iris.yard, iris.about = "eastfork", "mechanic at Eastfork"
	iris.Person.Id, iris.Name = "iris", "Iris"
	s.enrol(iris, s.invite(token.Person, "iris", iris.yard, &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: iris.Person}}))
	for owner, serial := range map[string]string{"tomas": "3805", "iris": "1160"} {
		s.done("nia-okoro", "registered padlock "+serial, &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{
			RegisterPadlock: &recordv1.RegisterPadlock{Serial: serial, Owner: owner, KeysCut: 1, Spare: recordv1.SpareKey_SPARE_KEY_NONE_CUT}}})
	}
}

// openBoot opens the job at both yards, with Tomas in its crew.
func openBoot(s *story) {
	exchange(s)
	s.done("ravi", "opened job "+jobID, &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: jobID, Zone: zone, Plan: s.plan.GetPoints(), Responsible: "ravi", Crew: []string{"ravi", "lena", "tomas"}, Affected: []string{"dov"},
		Purpose: "clear the plugged boot of leg 2"}}})
	s.done("ravi", "told dov, before any lock goes on", actNotice(recordv1.NoticeWhen_NOTICE_WHEN_BEFORE))
}

// comeOut takes the locks off again, since the plug came free by itself.
func comeOut(s *story) {
	s.done("ravi", "looked the area over: tools out, guards on, people clear", actClear())
	for _, who := range []string{"ravi", "lena"} {
		s.done(who, "took off the lock", actRelease(s.holds[who]))
	}
	s.emptyBox()
	s.done("ravi", "told dov, now that the last lock is off", actNotice(recordv1.NoticeWhen_NOTICE_WHEN_AFTER))
	s.caughtUp()
}

// openLift brings the job at the third yard to the same point.
func openLift(s *story) {
	if s.err != nil {
		return
	}
	p, err := s.who["iris"].Plan(s.ctx, &servicev1.PlanRequest{Zone: liftZone})
	if !s.must(err, "compute the plan of "+liftZone) {
		return
	}
	s.expect(p.GetIsolates() && len(yardsOf(p.GetPoints())) == 1, "the plan of %s: %v", liftZone, p.GetPoints())
	s.liftPlan = p.GetPoints()
	s.done("iris", "opened job "+liftJob, &recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{
		Id: liftJob, Zone: liftZone, Plan: s.liftPlan, Responsible: "iris", Crew: []string{"iris"}, Affected: []string{"mara"}, Purpose: "change the seal of the truck lift"}}})
	told := func(when recordv1.NoticeWhen) {
		s.done("iris", "told mara", &recordv1.Record{Act: &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: liftJob, When: when, People: []string{"mara"}, Means: "in person"}}})
	}
	told(recordv1.NoticeWhen_NOTICE_WHEN_BEFORE)
	s.done("iris", "shut the truck lift down", &recordv1.Record{Act: &recordv1.Record_ShutDown{ShutDown: &recordv1.ShutDown{Job: liftJob}}})
	var locks []string
	for _, point := range s.liftPlan {
		s.done("iris", "opened "+point, actIsolate(point))
		r := s.done("iris", "locked "+point, actLockPoint(point, "1160", liftJob))
		locks = append(locks, r.GetRef())
	}
	s.done("iris", "looked the area over", &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: liftJob, ToolsOut: true, GuardsOn: true, PeopleClear: true}}})
	for _, ref := range locks {
		s.done("iris", "took the lock off", actRelease(ref))
	}
	told(recordv1.NoticeWhen_NOTICE_WHEN_AFTER)
	s.caughtUp()
}

func actLockPoint(point, padlock, job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Padlock: padlock, Job: job}}}
}

// ask makes a request for any job, valid for ten minutes.
func ask(id, job string, points []string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: job, Points: points, DeadlineUnixMs: time.Now().Add(10 * time.Minute).UnixMilli()}}}
}
