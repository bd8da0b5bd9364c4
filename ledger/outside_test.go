package ledger_test

import (
	"bytes"
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const harrow = "Harrow Millwrights"

// outside is ready with hana, a contractor's person of another firm.
func outside(t *testing.T) *world {
	w, _ := ready(t)
	p := person("hana", false, contractor)
	p.Employer = harrow
	w.joinPerson(p)
	w.must(w.direct("mara", actCrew("boot-1", "millwrights", "hana")))
	w.must(w.direct("mara", actCoordinator("boot-1", "ravi", "")))
	return w
}

// TestExchange: the co-op and an outside employer tell each other their procedures
// and hazards, per yard; without it a lock or sign-on is recorded and flagged and
// work may not go on with them inside, 1910.147(f)(2)(i), 1910.272(i).
func TestExchange(t *testing.T) {
	w := outside(t)
	j := w.s.Jobs["boot-1"]
	if cs := w.s.MissingForWork(j); len(cs) > 0 {
		t.Fatalf("hana is not inside: %v", cs)
	}
	for _, o := range []*recordv1.Outcome{
		w.must(w.journal("stonebend", "hana", actLock(feeder, "", "boot-1"))), w.must(w.journal("millrow", "hana", actLock(control, "", "boot-1"))),
		w.must(w.journal("stonebend", "hana", actSignOn("boot-1"))),
	} {
		if !flagged(o, ledger.NoExchange) {
			t.Errorf("%s of hana, nothing exchanged: %v", o.GetKind(), o.GetFlags())
		}
	}
	if !has(w.s.MissingForWork(j), ledger.NoExchange, "hana") || j.Stopped == nil {
		t.Error("hana is inside, nothing was exchanged, and work goes on")
	}
	missing := 0
	for _, c := range w.s.MissingForWork(j) {
		if code.Is(c, ledger.NoExchange) {
			missing++
		}
	}
	if missing != 2 {
		t.Errorf("nothing was exchanged for stonebend and millrow, and %d are missing", missing)
	}
	w.refusedWith(w.together("mara", actExchange("stonebend", "Another Firm", "hana", w.now)), ledger.OtherEmployer)
	w.refusedWith(w.together("mara", actExchange("stonebend", "Three Forks Grain Co-op", "lena", w.now)), ledger.OtherEmployer)
	w.refusedWith(w.together("mara", actExchange("stonebend", harrow, "hana", w.now+day)), ledger.NotYet)
	w.refusedWith(w.together("ravi", actExchange("stonebend", harrow, "hana", w.now)), ledger.NotPermitted)
	untold := actExchange("stonebend", harrow, "hana", w.now)
	untold.GetExchangeProcedures().Hazards = nil
	w.refusedWith(w.together("mara", untold), ledger.BadField)
	w.must(w.together("mara", actExchange("stonebend", harrow, "hana", w.now)))
	if !has(w.s.MissingForWork(j), ledger.NoExchange, "hana") {
		t.Error("a plan point is at millrow, for which nothing was exchanged")
	}
	w.must(w.together("mara", actExchange("millrow", harrow, "hana", w.now)))
	if has(w.s.MissingForWork(j), ledger.NoExchange, "") {
		t.Error("exchanged for both yards, and still missing")
	}
	if o := w.must(w.journal("stonebend", "hana", actSignOn("boot-1"))); flagged(o, ledger.NoExchange) {
		t.Error("exchanged, and still flagged")
	}
	if n := len(w.s.JobView("boot-1", w.now).GetExchanges()); n != 2 {
		t.Errorf("the job shows %d exchanges, want 2", n)
	}
}

// TestContractorView: an outside person sees their own jobs, locks and points, and
// every alarm that touches them, and nobody else's details.
func TestContractorView(t *testing.T) {
	w := outside(t)
	w.must(w.publish("nia", withFan(2)))
	fan := w.job("fan-1", "tomas", fanFeed)
	fan.GetOpenJob().Zone = fanZone
	w.must(w.journal("stonebend", "mara", fan))
	w.must(w.journal("stonebend", "tomas", actLock(fanFeed, "tomas-1", "fan-1")))
	mine := w.must(w.journal("eastfork", "hana", actLock(fanFeed, "", ""))).GetRef()
	w.must(w.journal("stonebend", "tomas", &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: "boot-1", Part: motor, What: "480 V"}}}))
	b := w.s.Board("", w.now)
	before := marshal(t, b)
	if !ledger.Outsider(b, "hana") || ledger.Outsider(b, "lena") || ledger.Outsider(b, "ravi") || ledger.Outsider(b, "nobody") {
		t.Error("who is of another employer is told wrongly")
	}
	v := ledger.ContractorView(b, "hana")
	if len(v.GetJobs()) != 2 {
		// Her lock covers the fan's point: that job is hers too.
		t.Errorf("jobs: %d", len(v.GetJobs()))
	}
	if !slices.ContainsFunc(v.GetHolds(), func(h *recordv1.HoldView) bool { return h.GetRef() == mine }) {
		t.Error("her own lock is left out")
	}
	if len(v.GetPeople()) != 1 || v.GetPeople()[0].GetId() != "hana" {
		t.Errorf("people: %v", v.GetPeople())
	}
	w.must(w.journal("eastfork", "hana", actRelease(mine)))
	w.must(w.journal("stonebend", "tomas", &recordv1.Record{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: "fan-1", Part: "stonebend/vent", What: "240 V"}}}))
	v = ledger.ContractorView(w.s.Board("", w.now), "hana")
	if len(v.GetJobs()) != 1 || v.GetJobs()[0].GetId() != "boot-1" {
		t.Errorf("jobs: %v", v.GetJobs())
	}
	for _, h := range v.GetHolds() {
		if h.GetJob() == "fan-1" {
			t.Errorf("a lock of another job shows: %v", h)
		}
	}
	for _, p := range v.GetPoints() {
		if p.GetPoint() != feeder && p.GetPoint() != control {
			t.Errorf("a point of no plan of hers shows: %s", p.GetPoint())
		}
	}
	var live, other bool
	for _, f := range v.GetAlarms() {
		live, other = live || code.Is(f, ledger.FoundLive) && f.GetSubject() == motor, other || f.GetSubject() == "stonebend/vent"
	}
	if !live || other {
		t.Errorf("alarms of her job %v, of another %v", live, other)
	}
	for _, d := range v.GetDue() {
		if d.GetSubject() != "hana" {
			t.Errorf("somebody else's training shows: %v", d)
		}
	}
	if !bytes.Equal(before, marshal(t, b)) {
		t.Error("the board itself was changed")
	}
}

// TestAlarmsOfAnOutsider: an alarm is theirs by what it is about and whom it names, in
// its reasons too; a fumigant is everybody's. Words that somebody wrote are read by no
// program (common practice, no source).
func TestAlarmsOfAnOutsider(t *testing.T) {
	hana := &recordv1.PersonView{Id: "hana", Employer: harrow, Roles: []recordv1.Role{contractor}}
	for name, c := range map[string]struct {
		alarm *recordv1.Finding
		shown bool
	}{
		"it names her":              {ledger.Stopped.About("fan-1", "fan-1", ledger.NotOpen.About(fanFeed, fanFeed), []string{"hana", "tomas"}), true},
		"it names others":           {ledger.Stopped.About("fan-1", "fan-1", ledger.NotOpen.About(fanFeed, fanFeed), []string{"tomas"}), false},
		"its reason is about her":   {ledger.Stopped.About("fan-1", "fan-1", ledger.RetrainOn.About("hana", "hana", fanZone, ledger.IsolationChanged.About(fanZone, fanZone, "stonebend", 2)), []string{"tomas"}), true},
		"somebody wrote her name":   {ledger.FoundLive.About(fanFeed, fanFeed, "tomas", "hana says so", nil, "stonebend/1/9", "fan-1", []string{"tomas"}), false},
		"a place is under fumigant": {&recordv1.Finding{Code: "FUMIGATED", Subject: "eastfork/bin-3"}, true},
	} {
		b := &recordv1.Board{Coop: "Three Forks Grain Co-op", People: []*recordv1.PersonView{hana}, Alarms: []*recordv1.Finding{c.alarm}}
		if got := len(ledger.ContractorView(b, "hana").GetAlarms()) == 1; got != c.shown {
			t.Errorf("%s: shown %v, want %v", name, got, c.shown)
		}
	}
}
