package yard

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Header says whose journal this is and where it begins.
type Header struct {
	// Ledger is the ledger's id, 32 bytes.
	Ledger []byte
	Yard   string
	// Epoch counts the yard's journals, from 1.
	Epoch uint64
	// Incarnation is the fingerprint of the replica key that signs the journal
	// (decisions.md 1).
	Incarnation string
	// Compacted is the seq of the last dropped record, 0 for none. Hash is the hash of
	// its envelope. RaftIndex is the raft index that was applied when it was dropped.
	Compacted uint64
	Hash      [32]byte
	RaftIndex uint64
}

// Floor is the raft index that a journal with these records rests on. A yard that has
// applied less can promise nothing (decisions.md 11).
func (h *Header) Floor(records []Record) uint64 {
	if n := len(records); n > 0 {
		return max(h.RaftIndex, records[n-1].RaftIndex)
	}
	return h.RaftIndex
}

// Record is one record of the journal.
type Record struct {
	// Sealed is the serialised Sealed message: the ledger gets these bytes, and the
	// chain hashes them.
	Sealed []byte
	// Envelope is what Sealed holds. It must not be changed.
	Envelope *recordv1.Envelope
	// RaftIndex is the raft index that the yard had applied when it wrote the record.
	// It is not part of the envelope, because only the replica knows raft indexes.
	RaftIndex uint64
}

// ReadRecord reads a sealed envelope back. It checks the form and no signatures.
func ReadRecord(sealed []byte, raftIndex uint64) (Record, error) {
	var s recordv1.Sealed
	var env recordv1.Envelope
	if err := proto.Unmarshal(sealed, &s); err != nil {
		return Record{}, fmt.Errorf("the sealed record can't be read: %w", err)
	}
	if err := proto.Unmarshal(s.GetEnvelope(), &env); err != nil {
		return Record{}, fmt.Errorf("the envelope can't be read: %w", err)
	}
	return Record{Sealed: sealed, Envelope: &env, RaftIndex: raftIndex}, nil
}

// item is a record with what the rules ask about it.
type item struct {
	Record
	seq  uint64
	hash [32]byte
	kind string // the act, or "fence"

	rec    *recordv1.Record // nil for a fence
	keys   [][]byte         // that signed rec
	body   []byte           // the signed bytes
	ticket string           // "" for a fence

	point, box, request, job string
	narrows                  string       // the zone that a NarrowZone names
	started                  []string     // the points that a FoundStarted names
	at                       ledger.Moved // its own place
	moved                    ledger.Moved // what an Isolate or Closed signed
	hold, signOn             string       // what a Release or SignOff names
}

func (it *item) ref() string {
	return ledger.Ref(it.Envelope.GetYard(), it.Envelope.GetEpoch(), it.seq)
}

// newItem reads back a record of the journal file.
func newItem(r Record) (*item, error) {
	it := &item{}
	if env := r.Envelope; env.GetFence() != nil {
		it.kind, it.request = "fence", env.GetFence().GetRequest()
	} else {
		var s recordv1.Signed
		it.rec = &recordv1.Record{}
		if err := proto.Unmarshal(env.GetSigned(), &s); err != nil {
			return nil, fmt.Errorf("the signed record can't be read: %w", err)
		}
		if err := proto.Unmarshal(s.GetBody(), it.rec); err != nil {
			return nil, fmt.Errorf("the record inside the signature can't be read: %w", err)
		}
		it.body = s.GetBody()
		for _, sig := range s.GetSignatures() {
			it.keys = append(it.keys, sig.GetKey())
		}
		if ledger.KindFor(it.rec) == nil || len(it.keys) == 0 {
			return nil, fmt.Errorf("the record has no act or no signature")
		}
		it.name()
	}
	it.placed(r, ledger.EnvelopeHash(r.Sealed))
	return it, nil
}

// placed gives the item its seq and hash in the journal.
func (it *item) placed(r Record, hash [32]byte) {
	it.Record, it.hash = r, hash
	it.seq = r.Envelope.GetSeq()
	it.at = ledger.Moved{Epoch: r.Envelope.GetEpoch(), Seq: it.seq}
}

// name notes which point, box, job or request the act is about.
func (it *item) name() {
	it.kind, it.ticket = ledger.KindOf(it.rec), ticketOf(it.keys[0], it.rec)
	about := ledger.KindFor(it.rec).About(it.rec)
	it.point, it.box, it.request, it.job = about.Point, about.Box, about.Request, about.Job
	switch a := it.rec.GetAct().(type) {
	case *recordv1.Record_Isolate:
		it.moved = movedOf(a.Isolate.GetMoved())
	case *recordv1.Record_Closed:
		it.moved = movedOf(a.Closed.GetMoved())
	case *recordv1.Record_FoundStarted:
		it.started = about.Points
	case *recordv1.Record_NarrowZone:
		it.narrows = about.Zone
	case *recordv1.Record_Release:
		it.hold = about.Record
	case *recordv1.Record_SignOff:
		it.signOn = about.Record
	}
}

// closes reports whether the record says that somebody saw a point of this yard
// closed. From then on the ledger takes the point as live and its handle as moved.
func (it *item) closes(p string) bool {
	return it.kind == "found_closed" && it.point == p ||
		it.kind == "found_started" && ledger.YardOf(p) == it.Envelope.GetYard() && slices.Contains(it.started, p)
}

func movedOf(m *recordv1.Moved) ledger.Moved {
	return ledger.Moved{Epoch: m.GetEpoch(), Seq: m.GetSeq()}
}

// ticketOf names a ticket in the same way as the ledger: by the first signing key, the
// device and the counter.
func ticketOf(key []byte, r *recordv1.Record) string {
	return fmt.Sprintf("%s %s %d", seal.Fingerprint(key), r.GetTicket().GetDevice(), r.GetTicket().GetCounter())
}

// sealEnvelope signs an envelope with the replica's key. hash is the hash of the
// signed bytes. The next envelope names it.
func sealEnvelope(key ed25519.PrivateKey, env *recordv1.Envelope) (sealed []byte, hash [32]byte, err error) {
	m := proto.MarshalOptions{Deterministic: true}
	raw, err := m.Marshal(env)
	if err != nil {
		return nil, hash, fmt.Errorf("the journal envelope can't be written: %w", err)
	}
	s := &recordv1.Sealed{Envelope: raw, Key: key.Public().(ed25519.PublicKey), Signature: seal.Sign(key, seal.EnvelopeDomain, raw)}
	sealed, err = m.Marshal(s)
	return sealed, sha256.Sum256(raw), err
}

// verifySealed reports whether key sealed these bytes.
func verifySealed(key ed25519.PublicKey, sealed []byte) bool {
	var s recordv1.Sealed
	if err := proto.Unmarshal(sealed, &s); err != nil {
		return false
	}
	return bytes.Equal(s.GetKey(), key) && seal.Verify(seal.EnvelopeDomain, key, s.GetEnvelope(), s.GetSignature())
}

// follows says why a record can't be the next one of a journal, "" when it can. seq
// and hash are those of the record before it.
func (h *Header) follows(r *Record, seq uint64, hash [32]byte) string {
	env := r.Envelope
	want := hash[:]
	if seq == 0 {
		want = nil
	}
	switch {
	case !bytes.Equal(env.GetLedger(), h.Ledger):
		return "it belongs to another ledger"
	case env.GetYard() != h.Yard:
		return fmt.Sprintf("it belongs to yard %q", env.GetYard())
	case env.GetEpoch() != h.Epoch:
		return fmt.Sprintf("it is of epoch %d, the journal of epoch %d", env.GetEpoch(), h.Epoch)
	case env.GetSeq() != seq+1:
		return fmt.Sprintf("it has number %d, the next one is %d", env.GetSeq(), seq+1)
	case !bytes.Equal(env.GetPrevious(), want):
		return "it does not continue the record before it"
	}
	return ""
}
