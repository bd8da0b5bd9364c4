package ledger_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// world is a small co-op of ours: entries are made, signed and applied as the
// replicas would, with a clock that the test turns.
type world struct {
	t       testing.TB
	s       *ledger.State
	id      []byte
	now     int64
	keys    map[string]ed25519.PrivateKey // people and yards
	once    map[string]ed25519.PrivateKey
	count   map[string]uint64
	last    map[string][]byte // yard -> hash of its last envelope
	entries [][]byte
	// basedOn, when set for a yard, is what its view had seen; else everything.
	basedOn map[string]uint64
	doubt   bool
}

// key makes a key from a name, so that runs repeat.
func key(name string) ed25519.PrivateKey {
	h := sha256.Sum256([]byte("test key of " + name))
	return ed25519.NewKeyFromSeed(h[:])
}

func pub(k ed25519.PrivateKey) []byte { return k.Public().(ed25519.PublicKey) }

const start = int64(1_760_000_000_000)

func marshal(t testing.TB, m proto.Message) []byte {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func signed(t testing.TB, domain string, body []byte, keys ...ed25519.PrivateKey) []byte {
	m := &recordv1.Signed{Body: body}
	for _, k := range keys {
		m.Signatures = append(m.Signatures, &recordv1.Signature{Key: pub(k), Signature: seal.Sign(k, domain, body)})
	}
	return marshal(t, m)
}

func person(id string, qualified bool, roles ...recordv1.Role) *recordv1.Person {
	return &recordv1.Person{Id: id, Name: id, Employer: "Three Forks Grain Co-op", Roles: roles, Qualified: qualified, TrainedUntilUnixMs: start + 1e12}
}

var (
	authorised = recordv1.Role_ROLE_AUTHORISED
	affected   = recordv1.Role_ROLE_AFFECTED
	supervisor = recordv1.Role_ROLE_SUPERVISOR
	manager    = recordv1.Role_ROLE_MANAGER
	contractor = recordv1.Role_ROLE_CONTRACTOR
)

// found starts a co-op with the manager nia at stonebend.
func found(t testing.TB) *world {
	w := &world{t: t, s: ledger.New(), now: start, keys: map[string]ed25519.PrivateKey{}, once: map[string]ed25519.PrivateKey{},
		count: map[string]uint64{}, last: map[string][]byte{}, basedOn: map[string]uint64{}}
	w.keys["nia"], w.keys["stonebend"] = key("nia"), key("stonebend")
	body := marshal(t, &recordv1.Founding{Coop: "Three Forks Grain Co-op",
		Yard:    &recordv1.YardInfo{Id: "stonebend", Name: "Stonebend", Address: "127.0.0.1:1", ReplicaKey: pub(w.keys["stonebend"])},
		Manager: person("nia", false, manager, supervisor), ManagerKey: pub(w.keys["nia"]), Nonce: make([]byte, 32), CreatedUnixMs: start})
	id := sha256.Sum256(body)
	w.id = id[:]
	w.must(w.put(ledger.FoundingEntry(signed(t, seal.FoundingDomain, body, w.keys["nia"], w.keys["stonebend"]))))
	return w
}

// firstWorld is a world that is made once and then copied, with the references that were
// named in it. Its signatures take longer than most tests.
type firstWorld struct {
	sync.Mutex
	first *world
	names map[string]string
}

func (f *firstWorld) copied(t testing.TB, begin func(testing.TB) (*world, map[string]string)) (*world, map[string]string) {
	t.Helper()
	f.Lock()
	defer f.Unlock()
	if f.first == nil {
		f.first, f.names = begin(t)
	}
	w := *f.first
	w.t, w.s, w.entries = t, w.s.Clone(), slices.Clone(w.entries)
	w.keys, w.once, w.basedOn = maps.Clone(w.keys), maps.Clone(w.once), maps.Clone(w.basedOn)
	w.count, w.last = maps.Clone(w.count), maps.Clone(w.last)
	return &w, maps.Clone(f.names)
}

var firstCoop, firstDrawn, firstIsolated, firstReady, firstIsolatedBin firstWorld

// coop is found with two more yards and the people of the scenarios.
func coop(t testing.TB) *world {
	w, _ := firstCoop.copied(t, func(t testing.TB) (*world, map[string]string) { return newCoop(t), nil })
	return w
}

func newCoop(t testing.TB) *world {
	w := found(t)
	for _, y := range []string{"millrow", "eastfork"} {
		w.joinYard(y)
	}
	for _, p := range []*recordv1.Person{
		person("ravi", true, authorised), person("tomas", false, authorised), person("lena", true, contractor),
		person("dov", false, affected), person("mara", false, supervisor, authorised),
	} {
		w.joinPerson(p)
	}
	return w
}

// put stamps, decodes and applies an entry.
func (w *world) put(raw []byte) *recordv1.Outcome {
	w.t.Helper()
	w.now += 1000
	raw, err := ledger.Stamp(raw, w.now)
	if err != nil {
		w.t.Fatal(err)
	}
	e, err := ledger.Decode(raw)
	if err != nil {
		w.t.Fatal(err)
	}
	w.entries = append(w.entries, raw)
	o := w.s.Apply(e)
	w.inOrder(slices.Concat(o.GetConditions(), o.GetFlags(), o.GetDid()))
	return o
}

// inOrder fails when a finding has not the arguments that the row of its code names.
func (w *world) inOrder(fs []*recordv1.Finding) {
	w.t.Helper()
	for _, f := range fs {
		if err := code.Check(f); err != nil {
			w.t.Fatal(err)
		}
	}
}

func (w *world) must(o *recordv1.Outcome) *recordv1.Outcome {
	w.t.Helper()
	if !o.GetAccepted() {
		w.t.Fatalf("entry %d (%s) refused: %v", o.GetIndex(), o.GetKind(), o.GetConditions())
	}
	return o
}

// record fills a record for a signer.
func (w *world) record(signer string, act *recordv1.Record) *recordv1.Record {
	w.count[signer]++
	r := proto.CloneOf(act)
	r.Ledger, r.Signer = w.id, signer
	r.Ticket = &recordv1.Ticket{Device: "test", Counter: w.count[signer]}
	r.CapturedUnixMs = w.now + 500
	return r
}

// sign is the signed bytes of a record by its signer's own key.
func (w *world) sign(signer string, act *recordv1.Record) []byte {
	return signed(w.t, seal.RecordDomain, marshal(w.t, w.record(signer, act)), w.keys[signer])
}

// direct sends an act straight to the quorum.
func (w *world) direct(signer string, act *recordv1.Record) *recordv1.Outcome {
	w.t.Helper()
	return w.put(ledger.DirectEntry(w.sign(signer, act)))
}

// journal sends an act through a yard's journal.
func (w *world) journal(yard, signer string, act *recordv1.Record) *recordv1.Outcome {
	w.t.Helper()
	return w.envelope(yard, &recordv1.Envelope{Grant: recordv1.Grant_GRANT_NONE, Body: &recordv1.Envelope_Signed{Signed: w.sign(signer, act)}})
}

func (w *world) fence(yard, request string) *recordv1.Outcome {
	w.t.Helper()
	return w.envelope(yard, &recordv1.Envelope{Body: &recordv1.Envelope_Fence{Fence: &recordv1.Fence{Request: request}}})
}

// envelope seals the yard's next journal record and applies it.
func (w *world) envelope(yard string, e *recordv1.Envelope) *recordv1.Outcome {
	w.t.Helper()
	e.Ledger, e.Yard, e.Epoch, e.Seq = w.id, yard, w.s.Yards[yard].Epoch, w.s.Yards[yard].Drained+1
	e.Previous, e.WrittenUnixMs, e.ClockDoubt = w.last[yard], w.now, w.doubt
	e.BasedOn = w.s.Size()
	if b, set := w.basedOn[yard]; set {
		e.BasedOn = b
	}
	raw := w.seal(yard, e)
	o := w.put(ledger.JournalEntry(raw))
	if w.s.Yards[yard].Drained == e.Seq {
		h := ledger.EnvelopeHash(raw)
		w.last[yard] = h[:]
	}
	return o
}

func (w *world) seal(yard string, e *recordv1.Envelope) []byte {
	body := marshal(w.t, e)
	k := w.keys[yard]
	return marshal(w.t, &recordv1.Sealed{Envelope: body, Key: pub(k), Signature: seal.Sign(k, seal.EnvelopeDomain, body)})
}

func (w *world) joinYard(id string) {
	w.t.Helper()
	w.keys[id], w.once[id] = key(id), key("once "+id)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "inv-" + id,
		Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: id, Name: id}}, OnceKey: pub(w.once[id]), ExpiresUnixMs: start + 1e10}}}))
	w.must(w.put(w.join(id, "127.0.0.1:2")))
}

func (w *world) joinPerson(p *recordv1.Person) {
	w.t.Helper()
	id := p.GetId()
	w.keys[id], w.once[id] = key(id), key("once "+id)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "inv-" + id,
		Whom: &recordv1.Invite_Person{Person: p}, OnceKey: pub(w.once[id]), ExpiresUnixMs: start + 1e10}}}))
	w.must(w.put(w.join(id, "")))
}

func (w *world) join(id, address string) []byte {
	r := w.record(id, &recordv1.Record{Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: "inv-" + id, Key: pub(w.keys[id]), Address: address}}})
	return ledger.DirectEntry(signed(w.t, seal.RecordDomain, marshal(w.t, r), w.keys[id], w.once[id]))
}

// refusedWith fails unless the outcome is a refusal that lists the code.
func (w *world) refusedWith(o *recordv1.Outcome, c code.Code) {
	w.t.Helper()
	if o.GetAccepted() {
		w.t.Fatalf("entry %d (%s) was accepted; want refused with %s", o.GetIndex(), o.GetKind(), c)
	}
	if !code.Has(o.GetConditions(), c) {
		w.t.Fatalf("entry %d (%s) refused, but not with %s: %v", o.GetIndex(), o.GetKind(), c, codes(o))
	}
}

func codes(o *recordv1.Outcome) []string {
	var out []string
	for _, c := range o.GetConditions() {
		out = append(out, c.GetCode())
	}
	return out
}

func flagged[C ~string](o *recordv1.Outcome, c C) bool { return code.Has(o.GetFlags(), code.Code(c)) }

func has[C ~string](cs []*recordv1.Finding, c C, subject string) bool {
	return slices.ContainsFunc(cs, func(f *recordv1.Finding) bool {
		return code.Is(f, code.Code(c)) && (subject == "" || f.GetSubject() == subject)
	})
}

// raised is the alarm of a code about something, nil when there is none.
func (w *world) raised(c code.Code, about string) *recordv1.Finding {
	for _, a := range w.s.Alarms {
		if a.Code == string(c) && a.Subject == about {
			return a.Finding
		}
	}
	return nil
}

// Short ways to say an act.

func actLock(point, padlock, job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Padlock: padlock, Job: job}}}
}

func actLockBox(box, padlock, job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Box{Box: box}}, Padlock: padlock, Job: job}}}
}

func ref(text string) *recordv1.JournalRef {
	var y string
	var e, q uint64
	parts := []byte(text)
	for i := range parts {
		if parts[i] == '/' {
			y = text[:i]
			fmt.Sscanf(text[i+1:], "%d/%d", &e, &q)
			break
		}
	}
	return &recordv1.JournalRef{Yard: y, Epoch: e, Seq: q}
}

func actRelease(hold string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: ref(hold)}}}
}

func (w *world) actIsolate(point string) *recordv1.Record {
	m := w.s.Points[point].Moved
	return &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: point, Moved: &recordv1.Moved{Epoch: m.Epoch, Seq: m.Seq}}}}
}

func actPoint(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: point, Holes: 2}}}
}

func actPadlock(serial, owner string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: &recordv1.RegisterPadlock{Serial: serial, Owner: owner, KeysCut: 1}}}
}

func actRequest(id, job string, deadline int64, points ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: id, Job: job, Points: points, DeadlineUnixMs: deadline}}}
}

func actEnergise(request, point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: request, Point: point}}}
}

func actSignOn(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SignOn{SignOn: &recordv1.SignOn{Job: job}}}
}

func actSignOff(on string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_SignOff{SignOff: &recordv1.SignOff{SignOn: ref(on)}}}
}

func actNotice(job string, when recordv1.NoticeWhen, people ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Notice{Notice: &recordv1.Notice{Job: job, When: when, People: people, Means: "in person"}}}
}

func actClear(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClearArea{ClearArea: &recordv1.ClearArea{Job: job, ToolsOut: true, GuardsOn: true, PeopleClear: true}}}
}

func actShutDown(job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ShutDown{ShutDown: &recordv1.ShutDown{Job: job}}}
}

func actStored(job, store string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_StoredReleased{StoredReleased: &recordv1.StoredReleased{Job: job, Store: store, How: "belt clamp set"}}}
}
