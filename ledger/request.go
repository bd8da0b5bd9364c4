package ledger

import (
	"bytes"
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetRequest, Kind{Name: "request", Called: "request", Class: Lifts, May: whoHas(authorised, supervisor, manager), Clause: "1910.147(e)", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(r *recordv1.Request) About {
			return About{Request: r.GetId(), Job: r.GetJob(), Points: r.GetPoints()}
		},
		func(f *fields, r *recordv1.Request) {
			f.name("id", r.GetId())
			f.name("job", r.GetJob())
			f.some("points", len(r.GetPoints()))
			f.points("points", r.GetPoints())
			f.moment("deadline_unix_ms", r.GetDeadlineUnixMs())
			f.optionalOneOf("kind", recordv1.RequestKind_name, int32(r.GetKind()))
		},
		(*step).request),
	kind((*recordv1.Record).GetWithdraw, Kind{Name: "withdraw", Called: "withdraw", Class: Lifts, May: ofTheirOwn(authorised, supervisor, manager), Clause: noClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(w *recordv1.Withdraw) About { return About{Request: w.GetRequest()} },
		func(f *fields, w *recordv1.Withdraw) {
			f.name("request", w.GetRequest())
			f.optionalText("why", w.GetWhy())
		},
		(*step).withdraw),
	kind((*recordv1.Record).GetExpire, Kind{Name: "expire", Called: "expiry of a request", Class: Lifts, May: ofTheirOwn(), Clause: noClause, By: ByReplica, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(e *recordv1.Expire) About { return About{Request: e.GetRequest()} },
		func(f *fields, e *recordv1.Expire) { f.name("request", e.GetRequest()) },
		(*step).expire),
)

var (
	RequestExists = code.New("REQUEST_EXISTS", code.Row{Args: "request", Who: "the-signer", Answer: code.Taken})
	// DeadlineOver: the deadline of the request had passed when it was asked for.
	DeadlineOver = code.New("DEADLINE_OVER", code.Row{Args: "request deadline:time", Who: "the-signer"})
	// RequestOpen: another request is already open for the point.
	RequestOpen    = code.New("REQUEST_OPEN", code.Row{Args: "point request person", Who: "{person}", Next: "yardhasp withdraw {request}"})
	NotInPlan      = code.New("NOT_IN_PLAN", code.Row{Args: "point job person", Who: "{person}"})
	UnknownRequest = code.New("UNKNOWN_REQUEST", code.Row{Args: "request", Who: "the-signer", Next: "yardhasp request list", Answer: code.Unknown})
	// NotRequester: somebody other than the requester tried to withdraw the request.
	NotRequester = code.New("NOT_REQUESTER", code.Row{Args: "request person", Who: "{person}", Answer: code.Denied})
	// NotAReplica: only the replica of a yard may sign this record.
	NotAReplica = code.New("NOT_A_REPLICA", code.Row{Args: "signer", Answer: code.NotSigned})
	// DeadlineNotOver: a record tried to expire the request before its deadline.
	DeadlineNotOver = code.New("DEADLINE_NOT_OVER", code.Row{Args: "request deadline:time"})

	NotAwaiting     = code.New("NOT_AWAITING", code.Row{Args: "request"})
	FenceNotSeen    = code.New("FENCE_NOT_SEEN", code.Row{Args: "yard request"})
	NotInvolved     = code.New("NOT_INVOLVED", code.Row{Args: "yard request"})
	AlreadyAttested = code.New("ALREADY_CONFIRMED", code.Row{Args: "yard request", Answer: code.Taken})

	RequestMade      = code.New("REQUEST_MADE", code.Row{Args: "person points kind:word yards"})
	MustStandClear   = code.New("MUST_STAND_CLEAR", code.Row{Args: "holder target record request", Who: "{holder}", Next: "yardhasp stand-clear {record} --for {request}"})
	YardConfirms     = code.New("YARD_CONFIRMS", code.Row{Args: "yard request confirmed:number of:number"})
	RequestApproved  = code.New("REQUEST_APPROVED", code.Row{Args: "request"})
	RequestDone      = code.New("REQUEST_DONE", code.Row{Args: "request"})
	RequestVoid      = code.New("REQUEST_VOID", code.Row{Args: "request because:why"})
	RequestWithdrawn = code.New("REQUEST_WITHDRAWN", code.Row{Args: "request person why:text"})
	RequestExpired   = code.New("REQUEST_EXPIRED", code.Row{Args: "request deadline:time"})
)

// Request is one request to re-energise (protocol.md 3.1).
type Request struct {
	ID        string                `json:"id"`
	Job       string                `json:"job"`
	Points    []string              `json:"points"`
	Involved  []string              `json:"involved"`  // the yards that must confirm
	Attested  []string              `json:"attested"`  // the yards that confirmed
	Energised []string              `json:"energised"` // the points whose energising was accepted
	State     recordv1.RequestState `json:"state"`
	Kind      recordv1.RequestKind  `json:"kind,omitempty"`
	Deadline  int64                 `json:"deadline"`
	By        Mark                  `json:"by"`
	// Because says why the request ended without being done. It is nil until then.
	Because *recordv1.Finding `json:"because,omitempty"`
}

func (q *Request) open() bool {
	return q.State == recordv1.RequestState_REQUEST_STATE_AWAITING || q.State == recordv1.RequestState_REQUEST_STATE_APPROVED
}

// Open reports whether the request can still lead to an energising.
func (q *Request) Open() bool { return q.open() }

// request is granted only when every condition is met. A refusal lists every condition
// that is not met.
func (x *step) request(r *recordv1.Request) {
	s := x.s
	if s.Reqs[r.GetId()] != nil {
		x.deny(RequestExists, r.GetId(), r.GetId())
		return
	}
	if r.GetDeadlineUnixMs() <= s.Time {
		x.deny(DeadlineOver, r.GetId(), r.GetId(), r.GetDeadlineUnixMs())
	}
	x.out.Conditions = append(x.out.Conditions, s.AgainstRequest(r.GetJob(), r.GetKind(), r.GetPoints())...)
	if x.refused() {
		return
	}
	pts := slices.Sorted(slices.Values(r.GetPoints()))
	q := &Request{ID: r.GetId(), Job: r.GetJob(), Points: pts, Involved: s.involved(pts), Kind: r.GetKind(),
		State: recordv1.RequestState_REQUEST_STATE_AWAITING, Deadline: r.GetDeadlineUnixMs(), By: x.mark}
	s.Reqs[q.ID] = q
	x.did(RequestMade, q.ID, x.who.ID, pts, requestFor[q.Kind], q.Involved)
	for _, h := range s.notClear(q) {
		x.did(MustStandClear, h.Ref, h.Holder, h.Target(), h.Ref, q.ID)
	}
}

// requestFor is the catalogue word for the purpose of a request.
var requestFor = map[recordv1.RequestKind]string{
	recordv1.RequestKind_REQUEST_KIND_UNSPECIFIED: "for-a-start",
	recordv1.RequestKind_REQUEST_KIND_TEST:        "for-a-test",
	recordv1.RequestKind_REQUEST_KIND_POSITIONING: "for-positioning",
}

// involved lists the yards that must confirm a request. These are the home yards of its
// points, of the boxes that hold a key of these points, and of every zone name of a
// place that closing the points may reach (protocol.md 3.3, decisions.md 9, 32).
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
		if overlap(s.reachOf(z), points) {
			ys = append(ys, YardOf(z))
		}
	}
	slices.Sort(ys)
	return slices.Compact(ys)
}

// fence takes a yard's confirmation of a request. The last confirmation needed approves
// it.
func (x *step) fence(f *recordv1.Fence) {
	s, y := x.s, x.env.GetYard()
	q := s.Reqs[f.GetRequest()]
	switch {
	case q == nil:
		x.deny(UnknownRequest, f.GetRequest(), f.GetRequest())
	case q.State != recordv1.RequestState_REQUEST_STATE_AWAITING:
		x.deny(NotAwaiting, q.ID, q.ID)
	case !q.By.seenBy(x.mark):
		// The yard confirmed an earlier request of the same name. It had not seen this
		// one.
		x.deny(FenceNotSeen, q.ID, y, q.ID)
	case !slices.Contains(q.Involved, y):
		x.deny(NotInvolved, q.ID, y, q.ID)
	case slices.Contains(q.Attested, y):
		x.deny(AlreadyAttested, q.ID, y, q.ID)
	default:
		q.Attested = append(q.Attested, y)
		slices.Sort(q.Attested)
		x.did(YardConfirms, q.ID, y, q.ID, len(q.Attested), len(q.Involved))
	}
}

// approve approves a request once every involved yard has confirmed it. A test also
// needs that every holder on its points stood clear for it. It looks at the state alone,
// because different records can complete the conditions.
func (x *step) approve() {
	for _, id := range sorted(x.s.Reqs) {
		q := x.s.Reqs[id]
		if q.State != recordv1.RequestState_REQUEST_STATE_AWAITING || len(q.Attested) < len(q.Involved) || q.Test() && len(x.s.notClear(q)) > 0 {
			continue
		}
		q.State = recordv1.RequestState_REQUEST_STATE_APPROVED
		x.did(RequestApproved, q.ID, q.ID)
	}
}

// endRequest ends an open request that was not done. Points already energised stay live.
func (x *step) endRequest(q *Request, st recordv1.RequestState, because *recordv1.Finding) {
	q.State, q.Because = st, because
	x.s.end("request", q.ID)
}

// void ends an open request because something it rested on has changed.
func (x *step) void(q *Request, because *recordv1.Finding) {
	x.endRequest(q, recordv1.RequestState_REQUEST_STATE_VOID, because)
	x.did(RequestVoid, q.ID, q.ID, because)
}

// withdraw ends an open request on the word of its requester or of a supervisor.
func (x *step) withdraw(w *recordv1.Withdraw) {
	q := x.s.Reqs[w.GetRequest()]
	switch {
	case q == nil || !q.open():
		x.deny(UnknownRequest, w.GetRequest(), w.GetRequest())
	case q.By.By != x.who.ID && !x.who.Has(supervisor, manager):
		x.deny(NotRequester, q.ID, q.ID, q.By.By)
	default:
		x.endRequest(q, recordv1.RequestState_REQUEST_STATE_WITHDRAWN, RequestWithdrawn.About(q.ID, q.ID, x.who.ID, w.GetWhy()))
		x.out.Did = append(x.out.Did, q.Because)
	}
}

// expire ends a request at its deadline. Any replica may sign it, because the entry's
// time decides (decisions.md 20).
func (x *step) expire(e *recordv1.Expire) {
	s := x.s
	y := s.Yards[x.rec.GetSigner()]
	if y == nil || !slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, y.Key) }) {
		x.deny(NotAReplica, x.rec.GetSigner(), x.rec.GetSigner())
		return
	}
	x.mark.By = y.ID
	q := s.Reqs[e.GetRequest()]
	switch {
	case q == nil || !q.open():
		x.deny(UnknownRequest, e.GetRequest(), e.GetRequest())
	case s.Time < q.Deadline:
		x.deny(DeadlineNotOver, q.ID, q.ID, q.Deadline)
	default:
		x.endRequest(q, recordv1.RequestState_REQUEST_STATE_EXPIRED, RequestExpired.About(q.ID, q.ID, q.Deadline))
		x.out.Did = append(x.out.Did, q.Because)
	}
}
