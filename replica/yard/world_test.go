package yard

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The little co-op of these tests. leg reaches eastfork/pit, drag reaches
// eastfork/tunnel, and millrow's belt reaches eastfork/pit over a one-way shaft
// and millrow/gallery.
const (
	leg  = "eastfork/mcc/leg"
	drag = "eastfork/mcc/drag"
	belt = "millrow/mcc/belt"
	box  = "eastfork/box1"
)

// world is a committed ledger and the yards that follow it.
type world struct {
	t       *testing.T
	s       *ledger.State
	entries [][]byte
	now     int64
	ticket  uint64
	yards   map[string]*site
	last    *recordv1.Outcome
}

// site is one yard's replica; its view lags until catchUp.
type site struct {
	w    *world
	id   string
	h    Header
	y    *Yard
	disk []Record
}

func keyOf(name string) ed25519.PrivateKey {
	sum := sha256.Sum256([]byte(name))
	return ed25519.NewKeyFromSeed(sum[:])
}

func public(name string) []byte { return keyOf(name).Public().(ed25519.PublicKey) }

func marshal(t *testing.T, m proto.Message) []byte {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func signWith(t *testing.T, domain string, body []byte, names ...string) []byte {
	t.Helper()
	s := &recordv1.Signed{Body: body}
	for _, n := range names {
		s.Signatures = append(s.Signatures, &recordv1.Signature{Key: public(n), Signature: seal.Sign(keyOf(n), domain, body)})
	}
	return marshal(t, s)
}

// rec makes a record of a person with a fresh ticket.
func (w *world) rec(by string, set func(*recordv1.Record)) *recordv1.Record {
	w.ticket++
	w.now += 1000
	r := &recordv1.Record{Ledger: w.s.LedgerID(), Signer: by, CapturedUnixMs: w.now, Ticket: &recordv1.Ticket{Device: "test", Counter: w.ticket}}
	set(r)
	return r
}

func (w *world) sign(by string, set func(*recordv1.Record)) []byte {
	return signWith(w.t, seal.RecordDomain, marshal(w.t, w.rec(by, set)), by)
}

// commit puts an entry into the ledger and returns what it did.
func (w *world) commit(entry []byte) *recordv1.Outcome {
	w.t.Helper()
	raw, err := ledger.Stamp(entry, w.now)
	if err != nil {
		w.t.Fatal(err)
	}
	e, err := ledger.Decode(raw)
	if err != nil {
		w.t.Fatal(err)
	}
	w.entries = append(w.entries, raw)
	w.last = w.s.Apply(e)
	return w.last
}

func (w *world) must(o *recordv1.Outcome) {
	w.t.Helper()
	if !o.GetAccepted() {
		w.t.Fatalf("%s refused: %v", o.GetKind(), o.GetConditions())
	}
}

// direct commits an accepted direct entry.
func (w *world) direct(by string, set func(*recordv1.Record)) {
	w.t.Helper()
	w.must(w.commit(ledger.DirectEntry(w.sign(by, set))))
}

func (w *world) enrol(invite *recordv1.Invite, id, address string) {
	w.t.Helper()
	invite.Id, invite.OnceKey, invite.ExpiresUnixMs = "invite-"+id, public("once-"+id), w.now+1e9
	w.direct("mia", func(r *recordv1.Record) { r.Act = &recordv1.Record_Invite{Invite: invite} })
	r := w.rec(id, func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Join{Join: &recordv1.Join{Invitation: invite.GetId(), Key: public(id), Address: address}}
	})
	w.must(w.commit(ledger.DirectEntry(signWith(w.t, seal.RecordDomain, marshal(w.t, r), id, "once-"+id))))
}

func (w *world) person(id string, roles ...recordv1.Role) {
	w.t.Helper()
	w.enrol(&recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: id, Name: id, Roles: roles, TrainedUntilUnixMs: w.now + 1e12}}}, id, "")
}

func newWorld(t *testing.T) *world {
	t.Helper()
	w := &world{t: t, s: ledger.New(), now: 1_790_000_000_000, yards: map[string]*site{}}
	f := &recordv1.Founding{Coop: "Three Forks Grain Co-op", Nonce: make([]byte, 32), CreatedUnixMs: w.now, ManagerKey: public("mia"),
		Yard:    &recordv1.YardInfo{Id: "eastfork", Name: "East Fork", Address: "localhost:1", ReplicaKey: public("eastfork")},
		Manager: &recordv1.Person{Id: "mia", Name: "Mia", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR}}}
	w.must(w.commit(ledger.FoundingEntry(signWith(t, seal.FoundingDomain, marshal(t, f), "mia", "eastfork"))))
	w.enrol(&recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: "millrow", Name: "Mill Row"}}}, "millrow", "localhost:2")
	for _, p := range []string{"wanda", "walt"} {
		w.person(p, recordv1.Role_ROLE_AUTHORISED)
	}
	w.person("abe", recordv1.Role_ROLE_AFFECTED)
	w.publish(eastforkDrawing())
	w.publish(millrowDrawing())
	for _, b := range []string{box, "millrow/box2"} {
		w.direct("mia", func(r *recordv1.Record) {
			r.Act = &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: b, Holes: 6}}
		})
	}
	for _, id := range []string{"eastfork", "millrow"} {
		w.yards[id] = w.newSite(id)
	}
	w.catchUp()
	return w
}

func (w *world) newSite(id string) *site {
	w.t.Helper()
	st := &site{w: w, id: id, h: Header{Ledger: w.s.LedgerID(), Yard: id, Epoch: 1, Incarnation: seal.Fingerprint(public(id))}}
	st.restart("run0")
	return st
}

// restart begins a new run on what is on the disk, with no view yet.
func (st *site) restart(run string) {
	st.w.t.Helper()
	y, err := New(st.h, keyOf(st.id), st.disk, run)
	if err != nil {
		st.w.t.Fatal(err)
	}
	st.y = y
}

func (w *world) publish(d *recordv1.Drawing) {
	w.t.Helper()
	w.direct("mia", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(w.t, d)}}
	})
}

func switched(name, from, to, device string) *recordv1.Link {
	return &recordv1.Link{Name: name, From: from, To: to, Medium: recordv1.Medium_MEDIUM_ELECTRICITY,
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_DISCONNECT, Panel: "mcc", Device: device, Lockable: true, Holes: 6}}
}

func zone(name, part string) *recordv1.Zone {
	return &recordv1.Zone{Name: name, Isolation: recordv1.Isolation_ISOLATION_SINGLE,
		Parts: []*recordv1.ExposedPart{{Node: part, Media: []recordv1.Medium{recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.Medium_MEDIUM_MOTION}}}}
}

func node(name string, k recordv1.NodeKind) *recordv1.Node {
	return &recordv1.Node{Name: name, Kind: k}
}

func eastforkDrawing() *recordv1.Drawing {
	return &recordv1.Drawing{Yard: "eastfork", Revision: 1, Title: "energy of eastfork",
		Nodes: []*recordv1.Node{node("north", recordv1.NodeKind_NODE_KIND_SOURCE), node("south", recordv1.NodeKind_NODE_KIND_SOURCE),
			node("leg", recordv1.NodeKind_NODE_KIND_MACHINE), node("drag", recordv1.NodeKind_NODE_KIND_MACHINE)},
		Links: []*recordv1.Link{switched("leg-feed", "north", "leg", "leg"), switched("drag-feed", "south", "drag", "drag")},
		Zones: []*recordv1.Zone{zone("pit", "leg"), zone("tunnel", "drag")}}
}

func millrowDrawing() *recordv1.Drawing {
	return &recordv1.Drawing{Yard: "millrow", Revision: 1, Title: "energy of millrow",
		Nodes: []*recordv1.Node{node("west", recordv1.NodeKind_NODE_KIND_SOURCE), node("belt", recordv1.NodeKind_NODE_KIND_MACHINE)},
		Links: []*recordv1.Link{switched("belt-feed", "west", "belt", "belt"),
			{Name: "transfer", From: "belt", To: "eastfork/leg", Medium: recordv1.Medium_MEDIUM_MOTION, OneWay: "a sprag on the shaft"}},
		Zones: []*recordv1.Zone{zone("gallery", "belt")}}
}

// catchUp shows every yard the committed state.
func (w *world) catchUp() {
	w.t.Helper()
	for _, id := range []string{"eastfork", "millrow"} {
		w.yards[id].catchUp()
	}
}

// catchUp shows the yard the committed state, as a restored snapshot would.
func (st *site) catchUp() []Record {
	return st.see(st.w.s.Clone(), uint64(len(st.w.entries)))
}

// see shows the yard a state, and makes what it asks for durable.
func (st *site) see(s *ledger.State, raft uint64) []Record {
	e := st.y.View(s, raft, st.w.now)
	st.save(e)
	return e.Append
}

// stateAt is the state after the first n entries.
func (w *world) stateAt(n int) *ledger.State {
	w.t.Helper()
	s := ledger.New()
	for _, raw := range w.entries[:n] {
		e, err := ledger.Decode(raw)
		if err != nil {
			w.t.Fatal(err)
		}
		s.Apply(e)
	}
	return s
}

func (st *site) save(e Effects) {
	for _, r := range e.Append {
		st.disk = append(st.disk, r)
		st.y.Appended(r.Envelope.GetSeq())
	}
}

// drain commits everything the yard has to forward.
func (st *site) drain() {
	st.w.t.Helper()
	for _, r := range st.y.Pending() {
		st.w.commit(ledger.JournalEntry(r.Sealed))
	}
}

// settle drains and shows until nothing moves.
func (w *world) settle() {
	w.t.Helper()
	for range 4 {
		for _, id := range []string{"eastfork", "millrow"} {
			w.yards[id].drain()
		}
		w.catchUp()
	}
}

// force writes a record that Capture would not take.
func (st *site) force(signed []byte) {
	st.w.t.Helper()
	env := st.y.envelope(st.w.now)
	env.Grant = recordv1.Grant_GRANT_NONE
	env.Body = &recordv1.Envelope_Signed{Signed: signed}
	it, err := st.y.write(env)
	if err != nil {
		st.w.t.Fatal(err)
	}
	st.save(Effects{Append: []Record{it.Record}})
}

// capture journals a record and makes it durable.
func (st *site) capture(signed []byte, run string) (*Reply, error) {
	e, err := st.y.Capture(signed, st.w.now, run)
	if err != nil {
		return nil, err
	}
	st.save(e)
	return e.Reply, nil
}

func (st *site) note(by string, set func(*recordv1.Record)) *Reply {
	st.w.t.Helper()
	r, err := st.capture(st.w.sign(by, set), "")
	if err != nil {
		st.w.t.Fatal(err)
	}
	return r
}

func onPoint(p string) *recordv1.Target {
	return &recordv1.Target{On: &recordv1.Target_Point{Point: p}}
}

func onBox(b string) *recordv1.Target { return &recordv1.Target{On: &recordv1.Target_Box{Box: b}} }

func lockAct(t *recordv1.Target) func(*recordv1.Record) {
	return func(r *recordv1.Record) { r.Act = &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: t}} }
}

func (st *site) lock(by string, t *recordv1.Target) *Reply {
	st.w.t.Helper()
	return st.note(by, lockAct(t))
}

func (st *site) release(by string, hold uint64) *Reply {
	st.w.t.Helper()
	return st.note(by, func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Release{Release: &recordv1.Release{Hold: &recordv1.JournalRef{Yard: st.id, Epoch: 1, Seq: hold}}}
	})
}

func isolateAct(p string, v PanelView) func(*recordv1.Record) {
	return func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: p, Moved: &recordv1.Moved{Epoch: v.Moved.Epoch, Seq: v.Moved.Seq}}}
	}
}

// open opens a point at its panel, as the panel shows it now.
func (st *site) open(p string) *Reply {
	st.w.t.Helper()
	v := st.y.Panel(p)
	r, err := st.capture(st.w.sign("wanda", isolateAct(p, v)), v.Run)
	if err != nil {
		st.w.t.Fatal(err)
	}
	return r
}

func (st *site) foundClosed(p string) *Reply {
	st.w.t.Helper()
	return st.note("walt", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: p, Seen: "handle up"}}
	})
}

func (st *site) energise(p, request string) (*Reply, error) {
	return st.capture(st.w.sign("walt", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: request, Point: p}}
	}), st.y.Panel(p).Run)
}

func (st *site) signOn(by, job string) *Reply {
	st.w.t.Helper()
	return st.note(by, func(r *recordv1.Record) { r.Act = &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: job}} })
}

func (st *site) boxAct(add bool, b, p string) (*Reply, error) {
	return st.capture(st.w.sign("wanda", func(r *recordv1.Record) {
		if add {
			r.Act = &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: b, Point: p}}
		} else {
			r.Act = &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: b, Point: p}}
		}
	}), st.y.Panel(p).Run)
}

// job opens a job through a yard's journal.
func (st *site) job(id, zone string, plan ...string) {
	st.w.t.Helper()
	st.note("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: id, Zone: zone, Plan: plan, Responsible: "wanda",
			Crew: []string{"walt"}, Affected: []string{"abe"}, Purpose: "change a chain"}}
	})
	st.w.settle()
	if st.w.s.Jobs[id] == nil {
		st.w.t.Fatalf("job %s was not opened: %v", id, st.w.last.GetConditions())
	}
}

// opened opens points at their home yards and lets everybody know.
func (w *world) opened(points ...string) {
	w.t.Helper()
	for _, p := range points {
		w.yards[ledger.YardOf(p)].open(p)
	}
	w.settle()
	for _, p := range points {
		if w.s.Points[p].Live {
			w.t.Fatalf("%s is still live: %v", p, w.last)
		}
	}
}

// clear records what a request asks for of a job.
func (w *world) clear(job string) {
	w.t.Helper()
	e := w.yards["eastfork"]
	e.note("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: job, ToolsOut: true, GuardsOn: true, PeopleClear: true}}
	})
	e.note("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: job, When: recordv1.NoticeWhen_NOTICE_WHEN_AFTER, People: []string{"abe"}}}
	})
	w.settle()
}

// request commits a request, which nobody has attested yet.
func (w *world) request(id, job string, points ...string) {
	w.t.Helper()
	w.direct("wanda", func(r *recordv1.Record) {
		r.Act = &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: job, Points: points, DeadlineUnixMs: w.now + 3_600_000}}
	})
}

// approved brings a world to where request r1 for points of job j1 is approved
// and known everywhere: the points are open, the area is clear.
func approved(t *testing.T, zone string, points ...string) *world {
	t.Helper()
	w := newWorld(t)
	w.yards["eastfork"].job("j1", zone, points...)
	w.opened(points...)
	w.clear("j1")
	w.request("r1", "j1", points...)
	w.catchUp()
	w.settle()
	if got := w.s.Reqs["r1"].State; got != recordv1.RequestState_REQUEST_STATE_APPROVED {
		t.Fatalf("the request is %v", got)
	}
	return w
}

func wantGrant(t *testing.T, r *Reply, want recordv1.Grant, promised ...string) {
	t.Helper()
	if r.Grant != want || fmt.Sprint(r.Promised) != fmt.Sprint(promised) {
		t.Errorf("granted %v for %v (%s), want %v for %v", r.Grant, r.Promised, r.Why, want, promised)
	}
}

func wantRefused(t *testing.T, err error, code string) {
	t.Helper()
	r, ok := err.(*Refused)
	if !ok || !r.Has(code) {
		t.Errorf("error %v, want a refusal with %s", err, code)
	}
}
