// Package sample makes a small true history of an invented co-op, for tests of
// what reads one: real keys, signatures, journals and rules, with a clock that is
// turned by hand. Every run makes the same bytes.
package sample

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"

	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Start is the time of the founding, Unix ms: 2026-09-21T14:13:20Z.
const Start = int64(1_790_000_000_000)

// World is a history being made. The first error stays and ends it.
type World struct {
	State   *ledger.State
	ID      []byte
	Entries [][]byte
	// Outs are the outcomes, one an entry.
	Outs []*recordv1.Outcome
	// Now is the next entry's time less a minute.
	Now int64
	Err error

	count map[string]uint64
	last  map[string][]byte
}

// Key is the key of a person or yard, made from the name.
func Key(name string) ed25519.PrivateKey {
	sum := sha256.Sum256([]byte("sample key of " + name))
	return ed25519.NewKeyFromSeed(sum[:])
}

func pub(name string) []byte { return Key(name).Public().(ed25519.PublicKey) }

// Found founds the co-op at stonebend, by the manager nia.
func Found() *World {
	w := &World{State: ledger.New(), Now: Start, count: map[string]uint64{}, last: map[string][]byte{}}
	body := w.marshal(&recordv1.Founding{Coop: "Three Forks Grain Co-op", Nonce: bytes.Repeat([]byte{3}, 32), CreatedUnixMs: Start,
		Yard:    &recordv1.YardInfo{Id: "stonebend", Name: "Stonebend", Address: "stonebend.example:7443", ReplicaKey: pub("stonebend")},
		Manager: Person("nia", "Nia Okoro", recordv1.Role_ROLE_MANAGER), ManagerKey: pub("nia")})
	id := sha256.Sum256(body)
	w.ID = id[:]
	w.put(ledger.FoundingEntry(w.signed(seal.FoundingDomain, body, "nia", "stonebend")))
	return w
}

// Person is one of the co-op, trained for a year from Start, qualified.
func Person(id, name string, roles ...recordv1.Role) *recordv1.Person {
	return &recordv1.Person{Id: id, Name: name, Roles: roles, Qualified: true, TrainedUntilUnixMs: Start + 365*86_400_000}
}

func (w *World) marshal(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil && w.Err == nil {
		w.Err = err
	}
	return b
}

func (w *World) signed(domain string, body []byte, who ...string) []byte {
	m := &recordv1.Signed{Body: body}
	for _, k := range who {
		m.Signatures = append(m.Signatures, &recordv1.Signature{Key: pub(k), Signature: seal.Sign(Key(k), domain, body)})
	}
	return w.marshal(m)
}

// put applies an entry a minute later.
func (w *World) put(raw []byte) *recordv1.Outcome {
	if w.Err != nil {
		return nil
	}
	w.Now += 60_000
	raw, err := ledger.Stamp(raw, w.Now)
	if err != nil {
		w.Err = err
		return nil
	}
	e, err := ledger.Decode(raw)
	if err != nil {
		w.Err = err
		return nil
	}
	out := w.State.Apply(e)
	w.Entries, w.Outs = append(w.Entries, raw), append(w.Outs, out)
	return out
}

// body is the bytes of a record of a signer.
func (w *World) body(signer string, rec *recordv1.Record) []byte {
	w.count[signer]++
	r := proto.CloneOf(rec)
	r.Ledger, r.Signer, r.CapturedUnixMs = w.ID, signer, w.Now+30_000
	r.Ticket = &recordv1.Ticket{Device: "sample", Counter: w.count[signer]}
	return w.marshal(r)
}

// Direct enters a record straight, signed by its signer and the others.
func (w *World) Direct(rec *recordv1.Record, signer string, others ...string) *recordv1.Outcome {
	return w.put(ledger.DirectEntry(w.signed(seal.RecordDomain, w.body(signer, rec), append([]string{signer}, others...)...)))
}

// Journal enters a record through a yard's journal and returns its place there.
func (w *World) Journal(yard, signer string, rec *recordv1.Record) *recordv1.JournalRef {
	return w.envelope(yard, &recordv1.Envelope{Grant: recordv1.Grant_GRANT_NONE, Body: &recordv1.Envelope_Signed{Signed: w.signed(seal.RecordDomain, w.body(signer, rec), signer)}})
}

// Fence has a yard attest to a request.
func (w *World) Fence(yard, request string) {
	w.envelope(yard, &recordv1.Envelope{Body: &recordv1.Envelope_Fence{Fence: &recordv1.Fence{Request: request}}})
}

func (w *World) envelope(yard string, e *recordv1.Envelope) *recordv1.JournalRef {
	y := w.State.Yards[yard]
	if y == nil || w.Err != nil {
		if w.Err == nil {
			w.Err = fmt.Errorf("there is no yard %q", yard)
		}
		return nil
	}
	e.Ledger, e.Yard, e.Epoch, e.Seq, e.Previous = w.ID, yard, y.Epoch, y.Drained+1, w.last[yard]
	e.WrittenUnixMs, e.BasedOn = w.Now+40_000, w.State.Size()
	body := w.marshal(e)
	raw := w.marshal(&recordv1.Sealed{Envelope: body, Key: pub(yard), Signature: seal.Sign(Key(yard), seal.EnvelopeDomain, body)})
	w.put(ledger.JournalEntry(raw))
	h := ledger.EnvelopeHash(raw)
	w.last[yard] = h[:]
	return &recordv1.JournalRef{Yard: yard, Epoch: e.Epoch, Seq: e.Seq}
}

// JoinPerson and JoinYard invite and let join.
func (w *World) JoinPerson(p *recordv1.Person) {
	w.join(&recordv1.Invite{Id: "inv-" + p.GetId(), Whom: &recordv1.Invite_Person{Person: p}}, p.GetId(), "")
}

func (w *World) JoinYard(id, name string) {
	w.join(&recordv1.Invite{Id: "inv-" + id, Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: id, Name: name}}}, id, id+".example:7443")
}

func (w *World) join(inv *recordv1.Invite, id, address string) {
	inv.OnceKey, inv.ExpiresUnixMs = pub("once "+id), w.Now+1e10
	w.Direct(&recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}}, "nia")
	rec := &recordv1.Record{Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: inv.GetId(), Key: pub(id), Address: address}}}
	w.put(ledger.DirectEntry(w.signed(seal.RecordDomain, w.body(id, rec), id, "once "+id)))
}

// Note is a checkpoint of the whole history, signed by stonebend.
func (w *World) Note() []byte {
	signer, err := seal.NewNoteSigner("stonebend", Key("stonebend"))
	if err == nil && w.Err == nil {
		var msg []byte
		if msg, err = seal.SignCheckpoint(seal.Origin(w.ID), w.State.Size(), w.State.Root(), signer); err == nil {
			return msg
		}
	}
	if w.Err == nil {
		w.Err = err
	}
	return nil
}

// Export is the export file of the whole history.
func (w *World) Export() []byte {
	var b bytes.Buffer
	note := w.Note()
	if err := client.WriteExport(&b, w.Entries, note); err != nil && w.Err == nil {
		w.Err = err
	}
	return b.Bytes()
}
