package ledger_test

import (
	"slices"
	"strings"
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The oracle keeps the plain facts of a history by itself, from the records and
// from whether each was accepted, and never asks the rules under test. What it
// demands is design.md (Work may start; The fine print), protocol.md 3 and
// decisions.md 2, 3, 9 and 18, in a second wording.

// fact is one accepted record with its place in the journals.
type fact struct {
	index, seq, based uint64
	epoch             uint64 // of the yard's journal
	yard, by          string
	captured, written int64
}

// knows reports whether the yard that wrote b had a before it.
func (b fact) knows(a fact) bool {
	if a.yard == b.yard && a.epoch == b.epoch {
		return a.seq < b.seq
	}
	return a.index < b.based
}

type oracleHold struct {
	fact
	point, box string
	job        string
	padlock    string
	equipment  bool
	tag        *recordv1.Tag
	flags      []*recordv1.Finding
	tried      []fact
	off        bool
	stood      uint64 // the index of the test its holder stood clear for
	claimed    uint64 // the entry by which its owner was identified
}

type oracleReading struct {
	fact
	part   string
	medium recordv1.Medium
	kind   recordv1.ReadingKind
}

type oracleOn struct {
	fact
	job string
	off bool
}

// oracleMended is a cause corrected: of what was found live, or of a start at points.
type oracleMended struct {
	fact
	points []string
}

type oracle struct {
	t        *testing.T
	holds    map[string]*oracleHold
	ons      map[string]*oracleOn
	box      map[string]fact // point -> when its key went into the one box
	live     map[string]bool
	opened   map[string]fact
	closed   map[string]fact // last time it went live after being open
	readings map[string][]oracleReading
	stored   map[string][]fact
	told     map[string][]fact
	shut     map[string][]fact
	found    map[string]fact // uncorrected, by reference
	mended   []oracleMended
	drained  map[string]uint64
	energise int
	starts   int
	oracleActs
	duties
}

func newOracle(t *testing.T) *oracle {
	o := &oracle{t: t, holds: map[string]*oracleHold{}, ons: map[string]*oracleOn{}, box: map[string]fact{}, live: map[string]bool{},
		opened: map[string]fact{}, closed: map[string]fact{}, readings: map[string][]oracleReading{}, stored: map[string][]fact{}, told: map[string][]fact{}, shut: map[string][]fact{},
		found: map[string]fact{}, drained: map[string]uint64{}, oracleActs: newOracleActs(), duties: newDuties()}
	for _, p := range oraclePoints {
		o.live[p] = true
	}
	return o
}

var oraclePoints = []string{feeder, main1, control}

type oracleJob struct {
	zone, responsible string
	plan              []string
}

var oracleJobs = map[string]oracleJob{
	"boot-1": {zone, "ravi", []string{feeder, control}},
	"room-1": {room, "tomas", []string{main1}},
	"both-1": {zone, "mara", []string{main1, control}},
}

// reach is a breadth-first search of our own over the two drawings: the points on
// any way from anywhere into a part of the zone, every device taken as passing.
func reach(zone string) []string { return reachBy(zone, binDrawing()) }

func reachBy(zone string, bins *recordv1.Drawing) []string {
	stone := withMain(2)
	_, mill := drawings()
	full := func(y, n string) string {
		if strings.Contains(n, "/") {
			return n
		}
		return y + "/" + n
	}
	var queue []string
	for _, d := range []*recordv1.Drawing{stone, bins} {
		for _, z := range d.Zones {
			if d.Yard+"/"+z.Name == zone {
				for _, p := range z.Parts {
					queue = append(queue, full(d.Yard, p.Node))
				}
			}
		}
	}
	var points []string
	for i := 0; i < len(queue); i++ {
		for _, d := range []*recordv1.Drawing{stone, mill, bins} {
			for _, l := range d.Links {
				from, to := full(d.Yard, l.From), full(d.Yard, l.To)
				for _, way := range [][2]string{{from, to}, {to, from}} {
					if way[1] != queue[i] || way[0] == to && l.OneWay != "" {
						continue
					}
					if v := l.Device; v.GetLockable() {
						points = append(points, d.Yard+"/"+v.Panel+"/"+v.Device)
					}
					if !slices.Contains(queue, way[0]) {
						queue = append(queue, way[0])
					}
				}
			}
		}
	}
	return points
}

var reachOf = map[string][]string{zone: reach(zone), room: reach(room), binZone: reach(binZone), deskZone: reach(deskZone)}

func (o *oracle) covers(h *oracleHold, p string) bool {
	_, in := o.box[p]
	return h.point == p || h.box != "" && in
}

// note takes one record and its outcome.
func (o *oracle) note(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	o.noteDuty(f, r, out)
	o.noteOwn(f, r, out)
	o.notePoint(f, r, out)
	o.noteProof(f, r, out)
	o.noteFound(f, r, out)
	if out.GetAccepted() {
		o.noteRequest(f, r, out)
		o.noteSeveral(f, r, out)
	}
}

// noteOwn takes what people do for themselves: their locks and sign-ons.
func (o *oracle) noteOwn(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	ok := out.GetAccepted()
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Lock:
		if !ok {
			o.t.Fatalf("a lock was refused: %v", out)
		}
		o.holds[out.GetRef()] = &oracleHold{fact: f, point: a.Lock.GetTarget().GetPoint(), box: a.Lock.GetTarget().GetBox(),
			job: a.Lock.GetJob(), padlock: a.Lock.GetPadlock(), equipment: a.Lock.GetEquipment(), tag: a.Lock.GetTag(), flags: out.GetFlags()}
	case *recordv1.Record_SignOn:
		if !ok {
			o.t.Fatalf("a sign-on was refused: %v", out)
		}
		o.ons[out.GetRef()] = &oracleOn{fact: f, job: a.SignOn.GetJob()}
	case *recordv1.Record_Release:
		if h := o.holds[text(a.Release.GetHold())]; ok {
			if h != nil && h.equipment {
				o.mayEndEquipment(h, f, a.Release.GetWhy())
			} else {
				o.mayEnd(h, f.by, "ended")
			}
			h.off = true
		}
	case *recordv1.Record_SignOff:
		if s := o.ons[text(a.SignOff.GetSignOn())]; ok {
			if s == nil || s.off || s.by != f.by {
				o.t.Fatalf("%s ended the sign-on %v", f.by, s)
			}
			s.off = true
		}
	case *recordv1.Record_TriedHandle:
		if h := o.holds[text(a.TriedHandle.GetHold())]; ok && h != nil && h.by == f.by {
			h.tried = append(h.tried, f)
		}
	}
}

// notePoint takes what opens and closes points, and the keys in the box.
func (o *oracle) notePoint(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	ok := out.GetAccepted()
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Isolate:
		if ok && !flagged(out, ledger.StaleOpening) && !flagged(out, ledger.NotPermitted) {
			o.live[a.Isolate.GetPoint()], o.opened[a.Isolate.GetPoint()] = false, f
		}
	case *recordv1.Record_FoundClosed:
		if ok {
			o.nowLive(f, a.FoundClosed.GetPoint())
		}
	case *recordv1.Record_Closed:
		if flagged(out, ledger.NoGoAhead) { // it was open, and nobody had said that it may be closed
			o.live[a.Closed.GetPoint()], o.closed[a.Closed.GetPoint()] = true, f
		}
	case *recordv1.Record_Energise:
		if ok {
			o.energised(a.Energise.GetPoint(), a.Energise.GetRequest())
			o.closed[a.Energise.GetPoint()] = f
			o.live[a.Energise.GetPoint()] = true
		}
	case *recordv1.Record_BoxAdd:
		if ok {
			o.box[a.BoxAdd.GetPoint()] = f
		}
	case *recordv1.Record_BoxRemove:
		if ok {
			delete(o.box, a.BoxRemove.GetPoint())
		}
	}
}

// nowLive: somebody saw that the point is closed. One that was live stays as it was.
func (o *oracle) nowLive(f fact, p string) {
	if !o.live[p] {
		o.closed[p] = f
	}
	o.live[p] = true
}

// noteProof takes what shows that work may start: readings, stored energy released,
// the notice and the shut-down; and what was found live instead.
func (o *oracle) noteProof(f fact, r *recordv1.Record, out *recordv1.Outcome) {
	ok := out.GetAccepted()
	counts := ok && len(out.GetFlags()) == 0
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Reading:
		switch d := a.Reading; {
		case ok && (d.GetMoved() || d.GetValue() >= 50):
			o.found[out.GetRef()] = f
		case counts:
			o.readings[d.GetJob()] = append(o.readings[d.GetJob()], oracleReading{f, d.GetPart(), d.GetMedium(), d.GetKind()})
		}
	case *recordv1.Record_FoundLive:
		if ok {
			o.found[out.GetRef()] = f
		}
	case *recordv1.Record_CorrectFoundLive:
		if ok {
			ref := text(a.CorrectFoundLive.GetFound())
			o.mended = append(o.mended, oracleMended{f, o.started[ref]})
			delete(o.found, ref)
			delete(o.started, ref)
		}
	case *recordv1.Record_StoredReleased:
		if counts {
			o.stored[a.StoredReleased.GetJob()] = append(o.stored[a.StoredReleased.GetJob()], f)
		}
	case *recordv1.Record_Notice:
		if counts && a.Notice.GetWhen() == recordv1.NoticeWhen_NOTICE_WHEN_BEFORE {
			o.told[a.Notice.GetJob()] = append(o.told[a.Notice.GetJob()], f)
		}
	case *recordv1.Record_ShutDown:
		if counts {
			o.shut[a.ShutDown.GetJob()] = append(o.shut[a.ShutDown.GetJob()], f)
		}
	}
}

func text(r *recordv1.JournalRef) string {
	return r.GetYard() + "/" + decimal(r.GetEpoch()) + "/" + decimal(r.GetSeq())
}

// energised: nobody's lock covers the point, but one whose holder stood clear for
// this very test, and nobody is signed on to a zone that it reaches.
func (o *oracle) energised(p, request string) {
	o.energise++
	o.energisedDuties(p)
	q := o.reqs[request]
	if q.test {
		o.tests++
	}
	for ref, h := range o.holds {
		if !h.off && o.covers(h, p) && !(q.test && h.stood == q.index) {
			o.t.Fatalf("%s was energised under the lock %s of %s", p, ref, h.by)
		}
	}
	for ref, s := range o.ons {
		j, known := o.jobs[s.job]
		if !s.off && (!known || o.reaches(j.zone, p)) {
			o.t.Fatalf("%s was energised while %s is signed on to %q (%s)", p, s.by, s.job, ref)
		}
	}
}

// check compares the state with the facts after an entry.
func (o *oracle) check(w *world, out *recordv1.Outcome) {
	o.checkDuties(w, out)
	o.checkOwn(w, out)
	for _, p := range oraclePoints {
		if w.s.Points[p].Live != o.live[p] {
			o.t.Fatalf("%s live: state %v, facts %v", p, w.s.Points[p].Live, o.live[p])
		}
	}
	for id, q := range w.s.Reqs {
		if q.Open() {
			o.checkRequest(id, q)
		}
	}
	for id, y := range w.s.Yards {
		if n := y.Drained; n < o.drained[id] || n > o.drained[id]+1 {
			o.t.Fatalf("drained of %s went from %d to %d", id, o.drained[id], n)
		}
		o.drained[id] = y.Drained
	}
	for id := range oracleJobs {
		if j := w.s.Jobs[id]; j != nil && !j.Closed.Set() && len(w.s.MissingForWork(j)) == 0 {
			o.mayStart(id)
		}
	}
}

// checkOwn: each lock and sign-on is as its owner left it, and a new lock keeps the
// flags that its outcome gave it.
func (o *oracle) checkOwn(w *world, out *recordv1.Outcome) {
	for ref, h := range o.holds {
		got := w.s.Holds[ref]
		if got == nil && !h.off || got != nil && got.Active() == h.off {
			o.t.Fatalf("lock %s of %s: ended %v by its owner, but the state says otherwise", ref, h.by, h.off)
		}
	}
	for ref, s := range o.ons {
		if got := w.s.SignOns[ref]; got == nil || got.Off.Set() != s.off {
			o.t.Fatalf("sign-on %s of %s is not as its owner left it", ref, s.by)
		}
	}
	if h := w.s.Holds[out.GetRef()]; h != nil && out.GetKind() == "lock" && len(h.Flags) != len(out.GetFlags()) {
		o.t.Fatalf("flags of %s were lost: %v, had %v", h.Ref, h.Flags, out.GetFlags())
	}
}

// checkRequest: no request is open over a lock, but a test whose holders stand clear
// or are still awaited.
func (o *oracle) checkRequest(id string, q *ledger.Request) {
	asked := o.reqs[id]
	for ref, h := range o.holds {
		stands := !h.off && !(asked.test && (h.stood == asked.index || q.State == recordv1.RequestState_REQUEST_STATE_AWAITING))
		if stands && slices.ContainsFunc(q.Points, func(p string) bool { return o.covers(h, p) }) {
			o.t.Fatalf("request %s is open over the lock %s", id, ref)
		}
	}
}
