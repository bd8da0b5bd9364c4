package ledger_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// A bin of ours whose sweep auger is drawn with the bin under a second name. What
// switches the sweep reaches that second name alone.
const (
	cribZone = "eastfork/crib"
	augerJob = "auger-1"
	cribJob  = "crib-1"
	auger    = "eastfork/mcc-1/sweep"
	cribFill = "eastfork/deck/spout-blank"
)

func exposed(node string, media ...recordv1.Medium) *recordv1.ExposedPart {
	return &recordv1.ExposedPart{Node: node, Media: media}
}

var (
	inGrain    = recordv1.Medium_MEDIUM_GRAIN
	inAir      = recordv1.Medium_MEDIUM_AIR
	inChemical = recordv1.Medium_MEDIUM_CHEMICAL
	byCurrent  = recordv1.Medium_MEDIUM_ELECTRICITY
)

// cribDrawing has the crib's grain in node grain-3, and these zones.
func cribDrawing(revision uint32, zones ...*recordv1.Zone) *recordv1.Drawing {
	d := binDrawing()
	d.Revision, d.Zones = revision, zones
	d.Nodes = append(d.Nodes, &recordv1.Node{Name: "pocket", Kind: recordv1.NodeKind_NODE_KIND_BUS})
	return d
}

// crib is the bin by its own name, at a node of its grain.
func crib(node string) *recordv1.Zone {
	return &recordv1.Zone{Name: "crib", Label: "inside the crib", Parts: []*recordv1.ExposedPart{exposed(node, inGrain)}}
}

// swept is the bin with its sweep, by a second name.
func swept(node string, by ...recordv1.Medium) *recordv1.Zone {
	if len(by) == 0 {
		by = []recordv1.Medium{inGrain}
	}
	return &recordv1.Zone{Name: "swept", Label: "the crib with its sweep", Parts: []*recordv1.ExposedPart{exposed(node, by...), exposed("sweep-motor", byCurrent)}}
}

// augerReleased has the sweep open, and all that its own job owes before a start given:
// told, locked, unlocked, looked over, told again.
func (w *world) augerReleased() {
	w.t.Helper()
	w.must(w.journal("eastfork", "mara", actJob(augerJob, "ravi", "eastfork/swept", auger)))
	w.must(w.journal("eastfork", "ravi", w.actIsolate(auger)))
	hold := w.must(w.journal("eastfork", "ravi", actLock(auger, "", augerJob))).GetRef()
	w.must(w.journal("eastfork", "ravi", actRelease(hold)))
	w.must(w.journal("eastfork", "ravi", actClear(augerJob)))
	w.must(w.journal("eastfork", "mara", actNotice(augerJob, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
}

func (w *world) askAuger(id string) *recordv1.Outcome {
	w.t.Helper()
	return w.direct("mara", actRequest(id, augerJob, w.now+1e7, auger))
}

// fenceAll has every yard concerned confirm a request.
func (w *world) fenceAll(id string) {
	w.t.Helper()
	for _, y := range w.s.Reqs[id].Involved {
		w.must(w.fence(y, id))
	}
	if st := w.s.Reqs[id].State; st != recordv1.RequestState_REQUEST_STATE_APPROVED {
		w.t.Fatalf("request %s is %v", id, st)
	}
}

// twoNames are the ways in which one bin comes to have two names. begin publishes the
// drawing on which the job on the old name is opened, then the one with the sweep.
var twoNames = []struct {
	name  string
	begin func(w *world) (rest func())
}{
	{"drawn beside it", func(w *world) func() {
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"))))
		return func() { w.must(w.publish("nia", cribDrawing(2, crib("grain-3"), swept("grain-3")))) }
	}},
	{"one device is enough by a waiver", func(w *world) func() {
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"))))
		return func() {
			z := swept("grain-3")
			z.Isolation, z.WaivedBy, z.WaivedWhy = recordv1.Isolation_ISOLATION_SINGLE, "nia", "looked at from the door"
			w.must(w.publish("nia", cribDrawing(2, crib("grain-3"), z)))
		}
	}},
	{"tied by a name that a revision drops", func(w *world) func() {
		both := &recordv1.Zone{Name: "both", Parts: []*recordv1.ExposedPart{exposed("grain-3", inGrain), exposed("pocket", inGrain)}}
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"), both)))
		return func() { w.must(w.publish("nia", cribDrawing(2, crib("grain-3"), swept("pocket")))) }
	}},
	{"the name used again for another bin", func(w *world) func() {
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"))))
		return func() { w.must(w.publish("nia", cribDrawing(2, crib("grain-4"), swept("grain-3")))) }
	}},
	{"the name dropped, and used again later", func(w *world) func() {
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"))))
		return func() {
			w.must(w.publish("nia", cribDrawing(2, swept("grain-3"))))
			w.must(w.publish("nia", cribDrawing(3, crib("grain-4"), swept("grain-3"))))
		}
	}},
	{"the node renamed, the zone's name kept", func(w *world) func() {
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"))))
		return func() { w.must(w.publish("nia", cribDrawing(2, crib("pocket"), swept("grain-3")))) }
	}},
	{"the second name in another yard's drawing", func(w *world) func() {
		w.must(w.publish("nia", cribDrawing(1, crib("grain-3"))))
		return func() {
			w.must(w.publish("nia", cribDrawing(2, crib("grain-3"), &recordv1.Zone{Name: "swept", Parts: []*recordv1.ExposedPart{exposed("sweep-motor", byCurrent)}})))
			far := swept("eastfork/grain-3")
			far.Parts[1].Node = "eastfork/sweep-motor"
			w.must(w.publish("nia", &recordv1.Drawing{Yard: "millrow", Revision: 1, Title: "Millrow", Zones: []*recordv1.Zone{far},
				Nodes: []*recordv1.Node{{Name: "shed", Kind: recordv1.NodeKind_NODE_KIND_BUS}}}))
		}
	}},
	{"air is shared", func(w *world) func() {
		c := crib("grain-3")
		c.Parts[0].Media = []recordv1.Medium{inAir}
		w.must(w.publish("nia", cribDrawing(1, c)))
		return func() { w.must(w.publish("nia", cribDrawing(2, c, swept("grain-3", inAir, inChemical)))) }
	}},
	{"by air in one name and by grain in the other", func(w *world) func() {
		c := crib("grain-3")
		c.Parts[0].Media = []recordv1.Medium{inAir}
		w.must(w.publish("nia", cribDrawing(1, c)))
		return func() { w.must(w.publish("nia", cribDrawing(2, c, swept("grain-3")))) }
	}},
}

// TestOnePlaceTwoNames: a place is a physical space, whatever names it has or had
// (decisions.md 32). Who is in it by one name is in the way of what reaches it by
// another, 1910.147(e)(2)(i).
func TestOnePlaceTwoNames(t *testing.T) {
	for _, v := range twoNames {
		for _, p := range presences {
			t.Run(v.name+", "+p.name, func(t *testing.T) {
				w := coop(t)
				rest := v.begin(w)
				w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
				rest()
				w.augerReleased()
				gone := p.come(w)
				o := w.askAuger("early")
				w.refusedWith(o, ledger.ReachesPeople)
				if !reaches(o, "tomas") {
					t.Errorf("the refusal does not name tomas: %v", o.GetConditions())
				}
				gone()
				w.must(w.askAuger("later"))
				w.fenceAll("later")
				gone = p.come(w)
				w.refusedWith(w.journal("eastfork", "ravi", actEnergise("later", auger)), ledger.ReachesPeople)
				if v := w.s.JobView(augerJob, w.now); v.GetStage() == recordv1.Stage_STAGE_APPROVED || !has(v.GetToEnergise(), ledger.ReachesPeople, "") {
					t.Errorf("the job is shown as %v, and misses %v", v.GetStage(), v.GetToEnergise())
				}
				gone()
				w.must(w.journal("eastfork", "ravi", actEnergise("later", auger)))
			})
		}
	}
	t.Run("zones apart", zonesApart)
	t.Run("an open permit", permitByAnotherName)
	t.Run("hot work not over", hotWorkByAnotherName)
	t.Run("a permit issued and closed", permitOverPeople)
	t.Run("a permit while a start is asked for", permitWhileAsked)
	t.Run("the yards asked", yardsOfThePlace)
	t.Run("what reaches a place", reachOfThePlace)
	t.Run("narrowing", narrowByAnotherName)
	t.Run("narrowing keeps another yard's promise", narrowAway)
	t.Run("removal", removalByAnotherName)
	t.Run("recovery", recoveryByAnotherName)
	t.Run("found closed", foundClosedByAnotherName)
	t.Run("copied and restored", placesRestored)
	t.Run("thousands of zones", manyPlaces)
}

// reaches reports whether an outcome says that the start would reach somebody.
func reaches(o *recordv1.Outcome, person string) bool {
	return slices.ContainsFunc(o.GetConditions(), func(f *recordv1.Finding) bool {
		return code.Is(f, ledger.ReachesPeople) && slices.Contains(code.Names(f, "people"), person)
	})
}

// presences are the ways in which somebody comes to be in the crib; come brings tomas
// in, and what it gives back takes him out, with all that his job owes.
var presences = []struct {
	name string
	come func(w *world) (gone func())
}{
	{"a sign-on", func(w *world) func() {
		on := w.must(w.journal("eastfork", "tomas", actSignOn(cribJob))).GetRef()
		return func() {
			w.must(w.journal("eastfork", "tomas", actSignOff(on)))
			w.cribOver()
		}
	}},
	{"a lock for work there", func(w *world) func() {
		hold := w.must(w.journal("eastfork", "tomas", actLock(cribFill, "", cribJob))).GetRef()
		return func() {
			w.must(w.journal("eastfork", "tomas", actRelease(hold)))
			w.cribOver()
		}
	}},
}

func (w *world) cribOver() {
	w.t.Helper()
	w.must(w.journal("eastfork", "tomas", actClear(cribJob)))
	w.must(w.journal("eastfork", "mara", actNotice(cribJob, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
}

// zonesApart: no medium that surrounds people is shared, so the places are two: a whole
// yard is not one place because a shaft, a wire or a spout joins its machines.
func zonesApart(t *testing.T) {
	w := coop(t)
	apart := swept("grain-3", recordv1.Medium_MEDIUM_MOTION)
	w.must(w.publish("nia", cribDrawing(1, crib("grain-3"), apart, &recordv1.Zone{Name: "far", Parts: []*recordv1.ExposedPart{exposed("grain-4", inGrain)}})))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	w.augerReleased()
	on := w.must(w.journal("eastfork", "tomas", actSignOn(cribJob))).GetRef()
	w.must(w.askAuger("start"))
	w.fenceAll("start")
	w.must(w.journal("eastfork", "ravi", actEnergise("start", auger)))
	w.must(w.journal("eastfork", "tomas", actSignOff(on)))
	for _, z := range []string{cribZone, "eastfork/swept", "eastfork/far"} {
		if got := w.s.PlaceOf(z); !slices.Equal(got, []string{z}) {
			t.Errorf("%s is one place with %v", z, got)
		}
	}
}

// permitByAnotherName: whoever is inside under a permit and did not sign on is inside
// all the same (1910.272(g)(1)(ii)).
func permitByAnotherName(t *testing.T) {
	w, sweep := sweptOnly(t)
	w.must(w.issueBin("in-1", bin()))
	sweep()
	w.offBin()
	w.augerReleased()
	w.refusedWith(w.askAuger("early"), ledger.ReachesBinEntry)
	w.must(w.direct("nia", actClosePermit("in-1")))
	if o := w.askAuger("later"); !o.GetAccepted() {
		t.Errorf("the permit is closed, and the start is refused: %v", o.GetConditions())
	}
}

// sweptOnly is readyBin where bin 3 was never drawn with its sweep, until sweep.
func sweptOnly(t *testing.T) (w *world, sweep func()) {
	t.Helper()
	w = coop(t)
	w.joinPerson(person("olga", false, authorised))
	for _, who := range []string{"ravi", "lena", "tomas", "mara", "olga"} {
		w.must(w.direct("nia", actTraining(who, recordv1.TrainingClass_TRAINING_CLASS_BIN_ENTRY, w.now, w.now+1e12)))
		w.must(w.direct("nia", actTraining(who, recordv1.TrainingClass_TRAINING_CLASS_OBSERVER_RESCUE, w.now, w.now+1e12)))
	}
	with := func(revision uint32, zones ...*recordv1.Zone) *recordv1.Drawing {
		d := binDrawing()
		d.Revision = revision
		d.Zones[0].Parts = d.Zones[0].Parts[:1]
		d.Zones = append(d.Zones, zones...)
		return d
	}
	w.must(w.publish("nia", with(1)))
	w.must(w.walk("ravi", "eastfork"))
	plan := slices.DeleteFunc(slices.Clone(binPlan), func(p string) bool { return strings.Contains(p, "/mcc-1/") })
	w.must(w.journal("eastfork", "mara", actJob(binJob, "ravi", binZone, plan...)))
	w.must(w.journal("eastfork", "mara", actNotice(binJob, recordv1.NoticeWhen_NOTICE_WHEN_BEFORE, "dov")))
	w.must(w.journal("eastfork", "ravi", actShutDown(binJob)))
	for _, p := range plan {
		w.must(w.journal("eastfork", "ravi", w.actIsolate(p)))
		for _, who := range []string{"ravi", "lena", "tomas"} {
			w.must(w.journal("eastfork", who, actLock(p, "", binJob)))
		}
	}
	proofs, err := w.s.Graph().Proofs(binZone, plan...)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range proofs {
		w.must(w.journal("eastfork", "ravi", actReading(binJob, p.Part, p.Medium, p.Kind, 0)))
	}
	w.testAir()
	w.must(w.journal("eastfork", "mara", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)))
	return w, func() { w.must(w.publish("nia", with(2, swept("grain-3")))) }
}

// offBin takes every lock off the bin, and gives what its job owes.
func (w *world) offBin() {
	w.t.Helper()
	for _, ref := range sortedHolds(w.s) {
		if h := w.s.Holds[ref]; h.Active() && h.Job == binJob {
			w.must(w.journal("eastfork", h.Holder, actRelease(ref)))
		}
	}
	w.must(w.journal("eastfork", "ravi", actClear(binJob)))
	w.must(w.journal("eastfork", "mara", actNotice(binJob, recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
}

func sortedHolds(s *ledger.State) []string {
	var out []string
	for ref := range s.Holds {
		out = append(out, ref)
	}
	slices.Sort(out)
	return out
}

// hotWorkByAnotherName: the same for hot work that nobody said is over
// (1910.147(e)(2)(i)).
func hotWorkByAnotherName(t *testing.T) {
	w, sweep := sweptOnly(t)
	w.must(w.issueBin("in-1", bin()))
	w.must(w.journal("eastfork", "ravi", actAir(binJob, binZone, atWork, values(burns, 0)...)))
	w.must(w.journal("eastfork", "olga", actStand(binJob, recordv1.Duty_DUTY_FIRE_WATCH)))
	work := hot()
	work.Workers, work.FireWatch = []string{"ravi"}, []string{"olga"}
	w.must(w.direct("nia", actIssueHot("weld-1", binJob, w.now+240*minute, work)))
	w.must(w.direct("nia", actClosePermit("in-1")))
	sweep()
	w.offBin()
	w.augerReleased()
	o := w.askAuger("early")
	w.refusedWith(o, ledger.ReachesHotWork)
	if !slices.ContainsFunc(o.GetConditions(), func(c *recordv1.Finding) bool {
		return code.Is(c, ledger.ReachesHotWork) && slices.Contains(code.Names(c, "people"), "ravi")
	}) {
		t.Errorf("the refusal does not name who does the hot work: %v", o.GetConditions())
	}
	w.must(w.journal("eastfork", "ravi", actHotDone("weld-1")))
	w.must(w.askAuger("later"))
}

// permitOverPeople: no permit to enter is issued or closed with somebody inside by
// another name, a waiver or not (1910.272(g)(1)(i)).
func permitOverPeople(t *testing.T) {
	w, sweep := sweptOnly(t)
	w.must(w.publish("nia", func() *recordv1.Drawing {
		sweep()
		d := binDrawing()
		d.Revision = 3
		d.Zones[0].Parts = d.Zones[0].Parts[:1]
		z := swept("grain-3")
		z.Isolation, z.WaivedBy, z.WaivedWhy = recordv1.Isolation_ISOLATION_SINGLE, "nia", "looked at from the door"
		d.Zones = append(d.Zones, z)
		return d
	}()))
	w.must(w.walk("ravi", "eastfork"))
	w.must(w.journal("eastfork", "mara", actJob(augerJob, "tomas", "eastfork/swept", auger)))
	on := w.must(w.journal("eastfork", "tomas", actSignOn(augerJob))).GetRef()
	w.refusedWith(w.issueBin("in-1", bin()), ledger.StillInside)
	w.must(w.journal("eastfork", "tomas", actSignOff(on)))
	w.must(w.issueBin("in-2", bin()))
	on = w.must(w.journal("eastfork", "olga", actSignOn(augerJob))).GetRef()
	if st := w.permitState("in-2"); st != recordv1.PermitState_PERMIT_STATE_SUSPENDED {
		t.Errorf("with olga inside by another name, whom it does not name, the permit is %v", st)
	}
	w.refusedWith(w.direct("nia", actClosePermit("in-2")), ledger.StillInside)
	w.must(w.journal("eastfork", "olga", actSignOff(on)))
	w.must(w.direct("nia", actClosePermit("in-2")))
}

// permitWhileAsked: nobody goes in under a permit while a start is asked for that
// reaches the bin by its other name (1910.272(g)(1)(ii)).
func permitWhileAsked(t *testing.T) {
	w, sweep := sweptOnly(t)
	sweep()
	w.must(w.walk("ravi", "eastfork"))
	w.offBin()
	w.augerReleased()
	w.must(w.askAuger("start"))
	w.refusedWith(w.issueBin("in-1", bin()), ledger.RequestReaches)
}

// farCrib has bin 3 at eastfork with its sweep, and the same grain as a zone of millrow.
func farCrib(t *testing.T) *world {
	w := coop(t)
	w.must(w.publish("nia", cribDrawing(1, swept("grain-3"))))
	far := crib("eastfork/grain-3")
	w.must(w.publish("nia", &recordv1.Drawing{Yard: "millrow", Revision: 1, Title: "Millrow", Zones: []*recordv1.Zone{far},
		Nodes: []*recordv1.Node{{Name: "shed", Kind: recordv1.NodeKind_NODE_KIND_BUS}}}))
	return w
}

// yardsOfThePlace: a yard promises at sign-on what reaches any zone of the place, so
// the yard of every zone of it is asked before a start (decisions.md 9, 32).
func yardsOfThePlace(t *testing.T) {
	w := farCrib(t)
	w.augerReleased()
	w.must(w.askAuger("start"))
	if got := w.s.Reqs["start"].Involved; !slices.Equal(got, []string{"eastfork", "millrow"}) {
		t.Errorf("asked are %v, want millrow too: people sign on there to the same bin", got)
	}
}

// reachOfThePlace: every name of a place is reached by all that reaches any of them, by
// what an older drawing shows too.
func reachOfThePlace(t *testing.T) {
	w := coop(t)
	w.must(w.publish("nia", cribDrawing(1, swept("grain-3"), &recordv1.Zone{Name: "crib", Parts: []*recordv1.ExposedPart{exposed("pocket", inGrain)}})))
	if slices.Contains(w.s.Reach[cribZone], auger) {
		t.Fatal("the crib is a place of its own, and the sweep reaches it")
	}
	d := cribDrawing(2, swept("grain-3"))
	d.Zones[0].Parts = d.Zones[0].Parts[:1] // the sweep is drawn no more
	d.Zones = append(d.Zones, &recordv1.Zone{Name: "crib", Parts: []*recordv1.ExposedPart{exposed("pocket", inGrain)}})
	w.must(w.publish("nia", d))
	d = proto.CloneOf(d)
	d.Revision, d.Zones[1].Parts[0].Node = 3, "grain-3"
	w.must(w.publish("nia", d))
	if !slices.Equal(w.s.Reach[cribZone], w.s.Reach["eastfork/swept"]) || !slices.Contains(w.s.Reach[cribZone], auger) {
		t.Errorf("one place: the crib is reached by %v, and by its other name by %v", w.s.Reach[cribZone], w.s.Reach["eastfork/swept"])
	}
	if got := w.s.PlaceOf(cribZone); !slices.Equal(got, []string{cribZone, "eastfork/swept"}) {
		t.Errorf("the place of the crib is %v", got)
	}
}

// cribUncabled has the sweep left out by a walked revision, with the bin by two names.
func cribUncabled(t *testing.T, w *world, zones ...*recordv1.Zone) {
	t.Helper()
	w.must(w.publish("nia", cribDrawing(1, append(zones, swept("grain-3"))...)))
	d := cribDrawing(2, append(zones, swept("grain-3"))...)
	d.Zones[len(zones)].Parts = d.Zones[len(zones)].Parts[:1]
	w.must(w.publish("nia", d))
}

// narrowByAnotherName: nothing is taken out of the reach of a place with somebody in it
// by another name, or with a permit open there (decisions.md 9).
func narrowByAnotherName(t *testing.T) {
	w := coop(t)
	cribUncabled(t, w, crib("grain-3"))
	w.must(w.walk("ravi", "eastfork"))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	for _, p := range presences {
		gone := p.come(w)
		w.refusedWith(w.journal("eastfork", "mara", actNarrow("eastfork/swept", auger)), ledger.StillAt)
		gone()
	}
	w.must(w.journal("eastfork", "mara", actNarrow("eastfork/swept", auger)))
	if slices.Contains(w.s.Reach["eastfork/swept"], auger) || slices.Contains(w.s.Reach[cribZone], auger) {
		t.Error("the place is narrowed, and not by all its names at that yard")
	}
	// Another revision brings nothing back by the other name.
	d := cribDrawing(3, crib("grain-3"), swept("grain-3"))
	d.Zones[1].Parts = d.Zones[1].Parts[:1]
	w.must(w.publish("nia", d))
	if slices.Contains(w.s.Reach["eastfork/swept"], auger) || slices.Contains(w.s.Reach[cribZone], auger) {
		t.Error("a revision that ties nothing new undid the narrowing")
	}
}

// narrowAway: millrow, cut off, may have promised the point at sign-on. Only its own
// journal takes that back (decisions.md 9).
func narrowAway(t *testing.T) {
	w := farCrib(t)
	d := cribDrawing(2, swept("grain-3"))
	d.Zones[0].Parts = d.Zones[0].Parts[:1]
	w.must(w.publish("nia", d))
	w.must(w.walk("ravi", "eastfork"))
	w.must(w.walk("ravi", "millrow"))
	w.must(w.journal("eastfork", "mara", actNarrow("eastfork/swept", auger)))
	w.augerReleased()
	w.must(w.askAuger("start"))
	if got := w.s.Reqs["start"].Involved; !slices.Contains(got, "millrow") {
		t.Errorf("asked are %v, and millrow may have promised the sweep to somebody in the bin", got)
	}
	w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "start", Why: "not yet"}}}))
	// Until millrow takes it out as well, it counts for whoever is in the bin, by
	// eastfork's name for it too.
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", "eastfork/swept", cribFill)))
	on := w.must(w.journal("eastfork", "tomas", actSignOn(cribJob))).GetRef()
	w.refusedWith(w.askAuger("early"), ledger.ReachesPeople)
	w.must(w.journal("eastfork", "tomas", actSignOff(on)))
	w.must(w.journal("millrow", "mara", actNarrow("millrow/crib", auger)))
	w.must(w.journal("eastfork", "tomas", actSignOn(cribJob)))
	w.must(w.askAuger("later"))
}

// removalByAnotherName: two managers who take an absent person's lock off are told who
// else may be hurt by what it kept off (1910.147(e)(2)(i)).
func removalByAnotherName(t *testing.T) {
	w := coop(t)
	w.crew()
	w.must(w.publish("nia", cribDrawing(1, crib("grain-3"), swept("grain-3"))))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	w.must(w.journal("eastfork", "mara", actJob(augerJob, "ravi", "eastfork/swept", auger)))
	w.must(w.journal("eastfork", "ravi", w.actIsolate(auger)))
	hold := w.must(w.journal("eastfork", "ravi", actLock(auger, "", augerJob))).GetRef()
	w.must(w.journal("eastfork", "tomas", actSignOn(cribJob)))
	o := w.must(w.together("nia", actRemoval(hold, "oskar")))
	if !reachedFlag(o, "tomas") {
		t.Errorf("tomas is in the bin, by another name, and the managers are not told: %v", o.GetFlags())
	}
}

func reachedFlag(o *recordv1.Outcome, person string) bool {
	return slices.ContainsFunc(o.GetFlags(), func(f *recordv1.Finding) bool {
		return code.Is(f, ledger.MayBeReached) && slices.Contains(code.Names(f.GetArgs()[1].GetFindings()[0], "people"), person)
	})
}

// recoveryByAnotherName: a yard lost its journal, and somebody may have been told to
// close a point. Who is where it reaches is named (protocol.md C11).
func recoveryByAnotherName(t *testing.T) {
	w := coop(t)
	w.managed()
	w.must(w.publish("nia", cribDrawing(1, crib("grain-3"), swept("grain-3"))))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	w.must(w.journal("eastfork", "mara", actJob(augerJob, "ravi", "eastfork/swept", auger)))
	w.must(w.journal("eastfork", "tomas", actSignOn(cribJob)))
	r := w.walkdown("second disk")
	r.Yard = "eastfork"
	o := w.must(w.recoverWith(r, w.keys["nia"], w.keys["ines"], key("second disk")))
	if !reachedFlag(o, "tomas") {
		t.Errorf("the sweep may be closed on tomas, and nobody is told: %v", o.GetFlags())
	}
	// Who the walkdown finds inside is in the place of that job.
	w = coop(t)
	w.managed()
	w.must(w.publish("nia", cribDrawing(1, crib("grain-3"), swept("grain-3"))))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	w.augerReleased()
	r = w.walkdown("second disk")
	r.Yard, r.Inside = "eastfork", []*recordv1.WalkedPerson{{Person: "tomas", Job: cribJob}}
	w.must(w.recoverWith(r, w.keys["nia"], w.keys["ines"], key("second disk")))
	w.refusedWith(w.askAuger("early"), ledger.ReachesPeople)
}

// foundClosedByAnotherName: the alarm of a switch found closed names who may be hurt.
func foundClosedByAnotherName(t *testing.T) {
	w := coop(t)
	w.must(w.publish("nia", cribDrawing(1, crib("grain-3"), swept("grain-3"))))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	w.must(w.journal("eastfork", "mara", actJob(augerJob, "ravi", "eastfork/swept", auger)))
	w.must(w.journal("eastfork", "ravi", w.actIsolate(auger)))
	w.must(w.journal("eastfork", "tomas", actSignOn(cribJob)))
	w.must(w.journal("eastfork", "dov", &recordv1.Record{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: auger, Seen: "handle up"}}}))
	if !slices.ContainsFunc(w.s.Alarms, func(a ledger.Alarm) bool {
		return code.Is(a.Finding, ledger.FoundClosed) && a.Subject == auger && slices.ContainsFunc(a.Finding.GetArgs(), func(g *recordv1.Arg) bool {
			return slices.ContainsFunc(g.GetFindings(), func(f *recordv1.Finding) bool { return slices.Contains(code.Names(f, "people"), "tomas") })
		})
	}) {
		t.Errorf("tomas is in the bin, and the alarm does not say so: %v", w.s.Alarms)
	}
}

// placesRestored: what a name ever meant is kept in the written state, and a copy and a
// restored state answer alike.
func placesRestored(t *testing.T) {
	w := coop(t)
	rest := twoNames[2].begin(w)
	rest()
	b := w.s.AppendCanonical(nil)
	r, err := ledger.Restore(b)
	if err != nil {
		t.Fatal(err)
	}
	for name, s := range map[string]*ledger.State{"restored": r, "copied": w.s.Clone()} {
		if got, want := s.PlaceOf(cribZone), []string{"eastfork/both", cribZone, "eastfork/swept"}; !slices.Equal(got, want) {
			t.Errorf("%s: the place of the crib is %v, want %v", name, got, want)
		}
		if got := s.AppendCanonical(nil); string(got) != string(b) {
			t.Errorf("%s: written differently", name)
		}
	}
}

// manyPlaces: thousands of names of one bin, and as many places beside it, are worked
// out with the drawing, not with each question.
func manyPlaces(t *testing.T) {
	w := coop(t)
	zones := []*recordv1.Zone{crib("grain-3"), swept("grain-3")}
	for i := range 1500 {
		z := crib("grain-3")
		z.Name = fmt.Sprint("name-", i)
		zones = append(zones, z)
	}
	w.must(w.publish("nia", cribDrawing(1, zones...)))
	w.must(w.journal("eastfork", "mara", actJob(cribJob, "tomas", cribZone, cribFill)))
	w.augerReleased()
	on := w.must(w.journal("eastfork", "tomas", actSignOn(cribJob))).GetRef()
	w.refusedWith(w.askAuger("early"), ledger.ReachesPeople)
	w.must(w.journal("eastfork", "tomas", actSignOff(on)))
}
