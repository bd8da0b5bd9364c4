package yard

import (
	"crypto/ed25519"
	"crypto/sha256"
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
	t       testing.TB
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

func marshal(t testing.TB, m proto.Message) []byte {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func signWith(t testing.TB, domain string, body []byte, names ...string) []byte {
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

func newWorld(t testing.TB) *world {
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
		w.direct("mia", says("register-box %s", b))
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
	it, err := newItem(Record{Envelope: env})
	if err == nil {
		err = st.y.write(env, it)
	}
	if err != nil {
		st.w.t.Fatal(err)
	}
	st.save(Effects{Append: []Record{it.Record}})
}

// capture has a yard journal a record that its server has read.
func capture(y *Yard, signed []byte, now int64, run string) (Effects, error) {
	e, err := ledger.Decode(ledger.DirectEntry(signed))
	if err != nil {
		return Effects{}, err
	}
	return y.Capture(e, now, run)
}

// capture journals a record and makes it durable.
func (st *site) capture(signed []byte, run string) (*Reply, error) {
	e, err := capture(st.y, signed, st.w.now, run)
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
