package ledger

import (
	"crypto/sha256"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// ErrNewer means that the bytes come from a newer release. A replica that meets
// it in the log stops; a server answers it to the caller.
var ErrNewer = errors.New("the record comes from a newer release: upgrade this replica")

// Entry is one decoded entry, its signatures checked. Only Decode makes one, so
// an unchecked signature can't reach Apply.
type Entry struct {
	raw      []byte
	time     int64
	founding *recordv1.Founding
	rec      *recordv1.Record
	keys     [][]byte // keys whose signature over rec (or founding) is valid
	body     []byte   // the signed bytes

	env     *recordv1.Envelope
	envHash [32]byte
	envKey  []byte // the key whose signature over env is valid

	fault *recordv1.Finding // what makes the bytes no entry at all
}

// Raw returns the entry's bytes: the leaf.
func (e *Entry) Raw() []byte { return e.raw }

// Fault returns why the bytes can never be accepted, or nil.
func (e *Entry) Fault() *recordv1.Finding { return e.fault }

// Record returns the signed record, nil for the founding and for a fence.
func (e *Entry) Record() *recordv1.Record { return e.rec }

// Envelope returns the journal envelope, nil for a direct entry.
func (e *Entry) Envelope() *recordv1.Envelope { return e.env }

// Keys returns the keys whose signatures over the record are valid, in order: the
// signer's own first, then those of Cosigners.
func (e *Entry) Keys() [][]byte { return e.keys }

// Decode reads an entry and checks every signature in it (crypto/ed25519 alone,
// one rule on every path). The result depends on the bytes only, so replicas
// may decode in parallel and remember it by hash. Its error is ErrNewer, and
// nothing else: other faults are part of the Entry and become a refusal.
func Decode(raw []byte) (*Entry, error) { return decode(raw, seal.Verify) }

// checker is seal.Verify, or what answers exactly as it does.
type checker func(domain string, key, body, signature []byte) bool

func decode(raw []byte, valid checker) (*Entry, error) {
	e := &Entry{raw: raw}
	var m recordv1.Entry
	if len(raw) > MaxEntryBytes {
		e.fault = malformed(fmt.Sprintf("the entry has %d bytes, more than %d", len(raw), MaxEntryBytes))
		return e, nil
	}
	if err := proto.Unmarshal(raw, &m); err != nil {
		e.fault = malformed("the entry can't be read")
		return e, nil
	}
	if m.GetFormat() > EntryFormat || len(m.ProtoReflect().GetUnknown()) > 0 {
		return nil, ErrNewer
	}
	e.time = m.GetTimeUnixMs()
	switch b := m.GetBody().(type) {
	case *recordv1.Entry_Founding:
		return e, e.decodeFounding(b.Founding, valid)
	case *recordv1.Entry_Direct:
		return e, e.decodeSigned(b.Direct, valid)
	case *recordv1.Entry_Journal:
		return e, e.decodeSealed(b.Journal, valid)
	}
	e.fault = malformed("the entry is empty")
	return e, nil
}

func (e *Entry) decodeFounding(raw []byte, valid checker) error {
	var f recordv1.Founding
	if err := e.openSigned(raw, seal.FoundingDomain, &f, valid); err != nil || e.fault != nil {
		return err
	}
	e.founding = &f
	return nil
}

func (e *Entry) decodeSigned(raw []byte, valid checker) error {
	var r recordv1.Record
	if err := e.openSigned(raw, seal.RecordDomain, &r, valid); err != nil || e.fault != nil {
		return err
	}
	if r.GetAct() == nil {
		e.fault = malformed("the record says nothing: it has no act")
		return nil
	}
	if bad := badSigners(&r, e.keys); bad != "" {
		e.fault = badSignature(bad)
		return nil
	}
	if p := r.GetPublishDrawing(); p != nil {
		// A release that knows these fields takes the drawing: this one can't refuse it.
		var d recordv1.Drawing
		if proto.Unmarshal(p.GetDrawing(), &d) == nil && hasUnknown(d.ProtoReflect()) {
			return ErrNewer
		}
	}
	e.rec = &r
	return nil
}

func (e *Entry) openSigned(raw []byte, domain string, into proto.Message, valid checker) error {
	var s recordv1.Signed
	if err := proto.Unmarshal(raw, &s); err != nil {
		e.fault = malformed("the signed record can't be read")
		return nil
	}
	if err := proto.Unmarshal(s.GetBody(), into); err != nil {
		e.fault = malformed("the record inside the signature can't be read")
		return nil
	}
	if hasUnknown(s.ProtoReflect()) || hasUnknown(into.ProtoReflect()) {
		return ErrNewer
	}
	if len(s.GetSignatures()) == 0 {
		e.fault = badSignature("the record is not signed")
		return nil
	}
	if len(s.GetSignatures()) > MaxSignatures {
		e.fault = badSignature(fmt.Sprintf("the record has %d signatures, more than %d", len(s.GetSignatures()), MaxSignatures))
		return nil
	}
	for _, sig := range s.GetSignatures() {
		if !valid(domain, sig.GetKey(), s.GetBody(), sig.GetSignature()) {
			e.fault = badSignature("a signature does not match the record: it was changed, or signed with another key")
			return nil
		}
		e.keys = append(e.keys, sig.GetKey())
	}
	e.body = s.GetBody()
	return nil
}

func (e *Entry) decodeSealed(raw []byte, valid checker) error {
	var s recordv1.Sealed
	if err := proto.Unmarshal(raw, &s); err != nil {
		e.fault = malformed("the journal record can't be read")
		return nil
	}
	var env recordv1.Envelope
	if err := proto.Unmarshal(s.GetEnvelope(), &env); err != nil {
		e.fault = malformed("the journal envelope can't be read")
		return nil
	}
	if hasUnknown(s.ProtoReflect()) || hasUnknown(env.ProtoReflect()) {
		return ErrNewer
	}
	if !valid(seal.EnvelopeDomain, s.GetKey(), s.GetEnvelope(), s.GetSignature()) {
		e.fault = badSignature("the yard's signature does not match the journal envelope")
		return nil
	}
	e.env, e.envHash, e.envKey = &env, EnvelopeHash(raw), s.GetKey()
	switch b := env.GetBody().(type) {
	case *recordv1.Envelope_Fence:
		return nil
	case *recordv1.Envelope_Signed:
		return e.decodeSigned(b.Signed, valid)
	}
	e.fault = malformed("the journal envelope is empty")
	return nil
}

// EnvelopeHash is what the next envelope of the journal names as previous: the
// SHA-256 of the envelope inside the Sealed, the bytes that the yard signed. What
// stands around them can be written in more than one way by whoever passes it on.
func EnvelopeHash(sealed []byte) [32]byte {
	var s recordv1.Sealed
	if err := proto.Unmarshal(sealed, &s); err != nil {
		return sha256.Sum256(sealed)
	}
	return sha256.Sum256(s.GetEnvelope())
}

// hasUnknown reports fields that this release does not know, at any depth.
func hasUnknown(m protoreflect.Message) bool {
	if len(m.GetUnknown()) > 0 {
		return true
	}
	found := false
	m.Range(func(fd protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case fd.IsMap() || fd.Message() == nil:
		case fd.IsList():
			for i := range v.List().Len() {
				found = found || hasUnknown(v.List().Get(i).Message())
			}
		default:
			found = found || hasUnknown(v.Message())
		}
		return !found
	})
	return found
}

// DirectEntry wraps a signed record for the quorum, without time: the leader
// stamps it with Stamp.
func DirectEntry(signed []byte) []byte {
	return mustMarshal(&recordv1.Entry{Format: EntryFormat, Body: &recordv1.Entry_Direct{Direct: signed}})
}

// JournalEntry wraps a sealed envelope for the quorum.
func JournalEntry(sealed []byte) []byte {
	return mustMarshal(&recordv1.Entry{Format: EntryFormat, Body: &recordv1.Entry_Journal{Journal: sealed}})
}

// FoundingEntry wraps the founding record.
func FoundingEntry(signed []byte) []byte {
	return mustMarshal(&recordv1.Entry{Format: EntryFormat, Body: &recordv1.Entry_Founding{Founding: signed}})
}

// Stamp sets an entry's time. The signed bytes inside stay as they are.
func Stamp(entry []byte, unixMS int64) ([]byte, error) {
	var m recordv1.Entry
	if err := proto.Unmarshal(entry, &m); err != nil {
		return nil, fmt.Errorf("the entry can't be read: %w", err)
	}
	if len(m.ProtoReflect().GetUnknown()) > 0 || m.GetFormat() > EntryFormat {
		return nil, ErrNewer
	}
	m.TimeUnixMs = unixMS
	return mustMarshal(&m), nil
}

// mustMarshal serialises a message of ours; it can't fail on one that has no
// invalid UTF-8, and every string here was read from a valid message.
func mustMarshal(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil
	}
	return b
}

func malformed(text string) *recordv1.Finding {
	return &recordv1.Finding{Code: "MALFORMED", Text: text, Remedy: "send it again from a client of this release"}
}

func badSignature(text string) *recordv1.Finding {
	return &recordv1.Finding{Code: "BAD_SIGNATURE", Text: text, Remedy: "sign it again with your own key", Who: "the signer"}
}
