package ledger

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Request is one request to re-energise (protocol.md 3.1).
type Request struct {
	ID        string                `json:"id"`
	Job       string                `json:"job"`
	Points    []string              `json:"points"`
	Involved  []string              `json:"involved"`  // yards that must confirm
	Attested  []string              `json:"attested"`  // yards that did
	Energised []string              `json:"energised"` // points whose energising was taken
	State     recordv1.RequestState `json:"state"`
	Kind      recordv1.RequestKind  `json:"kind,omitempty"`
	Deadline  int64                 `json:"deadline"`
	By        Mark                  `json:"by"`
	Why       string                `json:"why,omitempty"` // to go
	// Because is why it ended without being done.
	Because *recordv1.Finding `json:"because,omitempty"`
}

func (q *Request) open() bool {
	return q.State == recordv1.RequestState_REQUEST_STATE_AWAITING || q.State == recordv1.RequestState_REQUEST_STATE_APPROVED
}

// Open reports whether the request can still lead to an energising.
func (q *Request) Open() bool { return q.open() }

// request is granted only when every condition is met; a refusal lists them all.
func (x *step) request(r *recordv1.Request) {
	s := x.s
	if s.Reqs[r.GetId()] != nil {
		x.refuse("EXISTS", r.GetId(), "a request with this id was made before; ids are never used again", "choose another id", x.who.ID, "")
		return
	}
	if r.GetDeadlineUnixMs() <= s.Time {
		x.refuse("EXPIRED", r.GetId(), "its deadline has passed", "choose a later deadline", x.who.ID, "")
	}
	x.out.Conditions = append(x.out.Conditions, s.AgainstRequest(r.GetJob(), r.GetKind(), r.GetPoints())...)
	if x.refused() {
		return
	}
	pts := slices.Sorted(slices.Values(r.GetPoints()))
	q := &Request{ID: r.GetId(), Job: r.GetJob(), Points: pts, Involved: s.involved(pts), Kind: r.GetKind(),
		State: recordv1.RequestState_REQUEST_STATE_AWAITING, Deadline: r.GetDeadlineUnixMs(), By: x.mark}
	s.Reqs[q.ID] = q
	x.change("%s asks to energise %s%s; %s must confirm", x.who.ID, strings.Join(pts, ", "), kindWords[q.Kind], strings.Join(q.Involved, ", "))
	for _, h := range s.notClear(q) {
		x.change("%s must stand clear of %s (%s), or take it off", holderName(h), h.Target(), h.Ref)
	}
}

// kindWords says what a request is for.
var kindWords = map[recordv1.RequestKind]string{
	recordv1.RequestKind_REQUEST_KIND_TEST:        " for a test",
	recordv1.RequestKind_REQUEST_KIND_POSITIONING: " for positioning",
}

// involved lists the yards whose word a request needs: the homes of its points,
// of the boxes that hold one of their keys, and of every zone that closing them
// may reach (protocol.md 3.3, decisions.md 9).
func (s *State) involved(points []string) []string {
	var ys []string
	for _, p := range points {
		ys = append(ys, YardOf(p))
	}
	for _, id := range sorted(s.Boxes) {
		if overlap(sorted(s.Boxes[id].Points), points) {
			ys = append(ys, s.Boxes[id].Yard)
		}
	}
	for _, z := range sorted(s.Reach) {
		if overlap(s.Reach[z], points) {
			ys = append(ys, YardOf(z))
		}
	}
	slices.Sort(ys)
	return slices.Compact(ys)
}

// AgainstRequest lists what stands against a request for these points now.
func (s *State) AgainstRequest(job string, kind recordv1.RequestKind, points []string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	add := func(c ...*recordv1.Finding) { cs = append(cs, c...) }
	j, asked := s.Jobs[job], &Request{Kind: kind}
	if j == nil || j.Closed.Set() {
		return append(cs, cond("UNKNOWN_JOB", job, "there is no open job of this name", "name the job whose work is finished", "supervisor", ""))
	}
	for _, p := range points {
		pt := s.Points[p]
		switch {
		case pt == nil:
			add(cond("UNKNOWN_POINT", p, "no such point is registered", "read the label at the panel again", "", ""))
			continue
		case pt.Live:
			add(cond("LIVE", p, p+" is recorded as switched on already", "", "", ""))
		}
		if !slices.Contains(j.Plan, p) {
			add(cond("NOT_IN_PLAN", p, p+" is not in the plan of "+job, "ask for the points of this job only, or open a job for it", j.Responsible, ""))
		}
		if _, drawn := s.Graph().Point(p); !drawn {
			add(cond("NOT_DRAWN", p, "no current drawing shows "+p+": what it would energise is not known", "publish a drawing that shows it", "supervisor or manager", "NFPA 70E 120.5(1)"))
		}
		add(s.holdConditions(p, asked)...)
		for _, id := range sorted(s.Reqs) {
			if q := s.Reqs[id]; q.open() && slices.Contains(q.Points, p) {
				add(cond("REQUESTED", p, "request "+id+" is open for "+p, "wait for it, or withdraw it", q.By.By, ""))
			}
		}
	}
	return append(cs, s.againstStart(j, asked, points)...)
}

// againstStart lists what stands against closing these points for job j, at
// the request and again at the energise: what the job itself still owes, what
// every other job owes whose points they are or whose zone they reach, and the
// people in the way. While a test is being asked for, q is no request yet (its
// index is unset): nobody can have stood clear, so nobody is told that they are.
func (s *State) againstStart(j *Job, q *Request, points []string) []*recordv1.Finding {
	asking := q.Test() && !q.By.Set()
	cs := s.releaseConditions(j, asking)
	for _, id := range sorted(s.Jobs) {
		o := s.Jobs[id]
		if id != j.ID && !o.Closed.Set() && o.begun() && (overlap(o.Plan, points) || s.couldReach(o.Zone, points, false)) {
			cs = append(cs, s.releaseConditions(o, asking)...)
		}
	}
	cs = append(cs, s.permitsReached(points)...)
	cs = append(cs, s.chokeConditions(points)...)
	return append(cs, s.endangered(q, points)...)
}

// begun reports whether anybody locked, entered or looked over the area for the
// job: then it has something to give back.
func (j *Job) begun() bool { return j.LastHold.Set() || j.LastOn.Set() || j.Looked.Set() }

// couldReach reports whether closing these points could let energy into a zone.
// Only a point recorded open and held by a lock stops it, and only on drawings that
// were walked and misled nobody; for people signed on
// not even that one does: any point that reaches their zone by the structure of
// a drawing, past or present, counts (decisions.md 9). A zone that left the
// drawing is reached by anything.
func (s *State) couldReach(zone string, points []string, signedOn bool) bool {
	if _, drawn := s.Graph().Zone(zone); !drawn {
		return true
	}
	// Reach has all that any drawing showed, so the searches below find no more.
	if !overlap(s.Reach[zone], points) || signedOn {
		return signedOn && overlap(s.Reach[zone], points)
	}
	near, live, err := s.Graph().ReachNow(zone, s.openAndHeld)
	if err != nil || !s.relied(zone) {
		return true
	}
	drawn, _ := s.Graph().Reach(zone)
	return slices.ContainsFunc(points, func(p string) bool {
		return slices.Contains(near, p) || slices.Contains(s.Reach[zone], p) && (live || !slices.Contains(drawn, p))
	})
}

// endangered lists the people whom closing these points could reach, whichever
// points they locked (design.md, The fine print): of open jobs, and of closed
// ones whose people came to the ledger late.
func (s *State) endangered(q *Request, points []string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, ref := range sorted(s.inside) {
		if so := s.inside[ref]; s.Jobs[so.Job] == nil {
			cs = append(cs, cond("REACHES_PEOPLE", so.Job, fmt.Sprintf("%s is signed on to the zone of %s, a job nobody knows: they may be anywhere", so.Person, so.Job),
				so.Person+" signs off", so.Person, "1910.147(e)(2)(i)"))
		}
	}
	for _, id := range sorted(s.Jobs) {
		j := s.Jobs[id]
		on := s.signedOn(j.ID)
		people := s.atRisk(j, q)
		if q.Test() && !q.By.Set() {
			people = nil // they stand clear once it is asked for; whoever is inside may not
			for _, so := range on {
				people = append(people, so.Person)
			}
		}
		if len(people) == 0 {
			continue
		}
		names := strings.Join(people, ", ")
		for _, so := range on {
			kept := slices.DeleteFunc(slices.Clone(points), func(p string) bool { return !slices.Contains(so.Promised, p) })
			if len(kept) > 0 {
				cs = append(cs, cond("PROMISED", so.Person, fmt.Sprintf("%s was promised at sign-on that this stays off: %s", so.Person, strings.Join(kept, ", ")), so.Person+" signs off the zone", so.Person, "1910.147(e)(2)(i)"))
			}
		}
		if s.couldReach(j.Zone, points, len(on) > 0) {
			cs = append(cs, cond("REACHES_PEOPLE", j.Zone, fmt.Sprintf("closing %s could let energy reach %s, where job %s has %s", strings.Join(points, ", "), j.Zone, j.ID, names),
				"they take off their locks and sign off the zone", names, "1910.147(e)(2)(i)"))
		}
	}
	return cs
}

// openAndHeld: a point behind which something ran without the ledger is none, whoever
// told of it, until the cause is corrected.
func (s *State) openAndHeld(p string) bool {
	for _, st := range s.Started {
		if slices.Contains(st.Points, p) {
			return false
		}
	}
	pt := s.Points[p]
	return pt != nil && !pt.Live && len(s.Guarding(p)) > 0
}

// relied reports whether every drawing by which energy may come to a zone was walked
// against the steel, and none of them was found wrong since.
func (s *State) relied(zone string) bool {
	for _, y := range s.drawingsOf(&Job{Zone: zone}) {
		if d := s.Plans[y]; d == nil || !d.Walked.Set() || len(d.Suspect) > 0 {
			return false
		}
	}
	return true
}

// atRisk names who is signed on to the job's zone or has a lock on for it: one
// that names no open job counts for every open job whose plan it touches. One of
// which the holder stood clear for the request q does not.
func (s *State) atRisk(j *Job, q *Request) []string {
	var out []string
	for _, so := range s.signedOn(j.ID) {
		out = append(out, so.Person)
	}
	for _, h := range s.active {
		if !h.StoodClearFor(q) && (h.Job == j.ID || !j.Closed.Set() && s.unclaimed(h) && overlap(s.Covers(h), j.Plan)) {
			out = append(out, holderName(h))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// fence is a yard's attestation. The last one approves.
func (x *step) fence(f *recordv1.Fence) {
	s, y := x.s, x.env.GetYard()
	q := s.Reqs[f.GetRequest()]
	switch {
	case q == nil:
		x.refuse("UNKNOWN_REQUEST", f.GetRequest(), "no such request", "", "", "")
	case q.State != recordv1.RequestState_REQUEST_STATE_AWAITING:
		x.refuse("NOT_AWAITING", q.ID, "the request no longer waits for confirmation", "", "", "")
	case !q.By.seenBy(x.mark):
		// It confirms an older request of that name: this one it had not seen.
		x.refuse("NOT_SEEN", q.ID, y+" wrote this before it had seen the request", "", "", "")
	case !slices.Contains(q.Involved, y):
		x.refuse("NOT_INVOLVED", q.ID, y+" is not asked", "", "", "")
	case slices.Contains(q.Attested, y):
		x.refuse("EXISTS", q.ID, y+" confirmed already", "", "", "")
	default:
		q.Attested = append(q.Attested, y)
		slices.Sort(q.Attested)
		x.change("%s confirms request %s (%d of %d yards)", y, q.ID, len(q.Attested), len(q.Involved))
	}
}

// energise is asked for at the panel, in the home yard's journal. What was true
// at the request must be true again.
func (x *step) energise(e *recordv1.Energise) {
	s := x.s
	p := x.home(e.GetPoint())
	if p == nil {
		return
	}
	q := s.Reqs[e.GetRequest()]
	switch {
	case q == nil:
		x.refuse("UNKNOWN_REQUEST", e.GetRequest(), "no such request", "request it first", "", "")
		return
	case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:
		x.refuse("NOT_APPROVED", q.ID, "the request is "+RequestWord(q.State)+why(q.Why), "wait until every yard concerned has confirmed, or request again", "", "1910.147(e)")
		return
	case s.Time >= q.Deadline:
		x.refuse("EXPIRED", q.ID, "the deadline of the request has passed", "request again", "", "1910.147(e)")
		return
	case s.Jobs[q.Job] == nil:
		x.refuse("UNKNOWN_JOB", q.Job, "the job of the request is gone", "request again for an open job", "", "")
		return
	case !slices.Contains(q.Points, p.ID) || slices.Contains(q.Energised, p.ID):
		x.refuse("NOT_REQUESTED", p.ID, "the request is not for this point, or it was energised already", "", "", "")
		return
	}
	for _, h := range s.HoldsOn(p.ID) {
		if !q.Test() || !h.StoodClearFor(q) {
			x.refuse("HOLD_STANDS", p.ID, fmt.Sprintf("%s has a lock on %s", holderName(h), h.Target()), holderName(h)+" takes it off", holderName(h), "1910.147(e)(3)")
		}
	}
	x.out.Conditions = append(x.out.Conditions, s.againstStart(s.Jobs[q.Job], q, []string{p.ID})...)
	if x.refused() {
		return
	}
	p.Live, p.Closed = true, x.mark
	for _, j := range s.Jobs {
		if !j.Closed.Set() && j.GroundsLeft == 0 && slices.Contains(j.Plan, p.ID) {
			j.GroundsFitted = 0 // all were off: the next round counts its own
		}
	}
	q.Energised = append(q.Energised, p.ID)
	slices.Sort(q.Energised)
	x.change("energising of %s asked by %s is accepted; only the go-ahead at its panel says close", p.ID, x.who.ID)
	if len(q.Energised) == len(q.Points) {
		q.State = recordv1.RequestState_REQUEST_STATE_DONE
		s.end("request", q.ID)
		x.change("request %s is done", q.ID)
	}
}

func why(w string) string {
	if w == "" {
		return ""
	}
	return ": " + w
}

// void ends an open request because the world changed. Points already energised
// stay live.
func (s *State) void(q *Request, why string, x *step) {
	q.State, q.Why = recordv1.RequestState_REQUEST_STATE_VOID, why
	s.end("request", q.ID)
	x.change("request %s is void: %s", q.ID, why)
}

// void ends an open request because the world changed. Points already energised
// stay live.
func (x *step) void(q *Request, because *recordv1.Finding) {
	q.State, q.Because = recordv1.RequestState_REQUEST_STATE_VOID, because
	x.s.end("request", q.ID)
	x.did(RequestVoid, q.ID, q.ID, because)
}

// RequestVoid: an open request ended because the world changed.
var RequestVoid = code.New("REQUEST_VOID", code.Row{Args: "request because:why"})

func (x *step) withdraw(w *recordv1.Withdraw) {
	q := x.s.Reqs[w.GetRequest()]
	switch {
	case q == nil || !q.open():
		x.refuse("UNKNOWN_REQUEST", w.GetRequest(), "there is no open request of this name", "", "", "")
	case q.By.By != x.who.ID && !x.who.Has(supervisor, manager):
		x.refuse("NOT_YOURS", q.ID, "only the requester or a supervisor withdraws it", "ask "+q.By.By, q.By.By, "")
	default:
		q.State, q.Why = recordv1.RequestState_REQUEST_STATE_WITHDRAWN, w.GetWhy()
		x.s.end("request", q.ID)
		x.change("request %s withdrawn by %s", q.ID, x.who.ID)
	}
}

// expire ends a request at its deadline; any replica may sign it, and the
// entry's time decides (decisions.md 20).
func (x *step) expire(e *recordv1.Expire) {
	s := x.s
	y := s.Yards[x.rec.GetSigner()]
	if y == nil || !slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, y.Key) }) {
		x.refuse("NOT_THE_SIGNER", x.rec.GetSigner(), "only a yard's replica lets a request expire", "", "", "")
		return
	}
	x.mark.By = y.ID
	q := s.Reqs[e.GetRequest()]
	switch {
	case q == nil || !q.open():
		x.refuse("UNKNOWN_REQUEST", e.GetRequest(), "there is no open request of this name", "", "", "")
	case s.Time < q.Deadline:
		x.refuse("NOT_YET", q.ID, "its deadline has not passed", "", "", "")
	default:
		q.State, q.Why = recordv1.RequestState_REQUEST_STATE_EXPIRED, "its deadline passed"
		s.end("request", q.ID)
		x.change("request %s expired", q.ID)
	}
}

var requestWords = map[recordv1.RequestState]string{
	recordv1.RequestState_REQUEST_STATE_AWAITING:  "awaiting confirmation",
	recordv1.RequestState_REQUEST_STATE_APPROVED:  "approved",
	recordv1.RequestState_REQUEST_STATE_DONE:      "done",
	recordv1.RequestState_REQUEST_STATE_VOID:      "void",
	recordv1.RequestState_REQUEST_STATE_EXPIRED:   "expired",
	recordv1.RequestState_REQUEST_STATE_WITHDRAWN: "withdrawn",
}

// RequestWord is the state of a request in words.
func RequestWord(st recordv1.RequestState) string { return requestWords[st] }
