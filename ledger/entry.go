package ledger

import (
	"crypto/sha256"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// Malformed: part of an entry cannot be read. The argument part is "part-entry",
	// "part-signed", "part-record", "part-sealed" or "part-envelope".
	Malformed = code.New("MALFORMED", code.Row{Args: "part:word", Who: "the-signer", Answer: code.Malformed})
	// Empty: part of an entry holds nothing.
	Empty         = code.New("EMPTY", code.Row{Args: "part:word", Who: "the-signer", Answer: code.Malformed})
	EntryTooLarge = code.New("ENTRY_TOO_LARGE", code.Row{Args: "bytes:number most:number", Who: "the-signer", Answer: code.Malformed})
	Unsigned      = code.New("UNSIGNED", code.Row{Who: "the-signer", Answer: code.NotSigned})
	// BadSignature: a signature does not match its bytes.
	BadSignature      = code.New("BAD_SIGNATURE", code.Row{Who: "the-signer", Answer: code.NotSigned})
	TooManySignatures = code.New("TOO_MANY_SIGNATURES", code.Row{Args: "given:number most:number", Who: "the-signer", Answer: code.NotSigned})
	// BadYardSignature: the yard's signature over a journal envelope does not match its
	// bytes.
	BadYardSignature = code.New("BAD_YARD_SIGNATURE", code.Row{Answer: code.NotSigned})
)

// ErrNewer means that the bytes come from a newer release. A replica that meets it in
// the log stops. A server returns it to the caller.
var ErrNewer = errors.New("the record comes from a newer release: upgrade this replica")

// Entry is one decoded entry, with its signatures and the shape of its record checked.
// Only Decode makes one, so nothing unchecked can reach Apply. The server hands the same
// Entry to the journal of a yard, so nobody may change it.
// from the server to the journal of a yard; nobody changes it.
type Entry struct {
	raw      []byte
	time     int64
	founding *recordv1.Founding
	signedRecord

	env     *recordv1.Envelope
	envHash [32]byte
	envKey  []byte // the key with a valid signature over env

	fault *recordv1.Finding // why the bytes are no entry at all
}

// signedRecord is a record and what the checks found about it. The founding has no
// record here, only keys and body.
type signedRecord struct {
	signed []byte // the serialised Signed
	rec    *recordv1.Record
	keys   [][]byte // keys whose signature over rec (or founding) is valid
	body   []byte   // the signed bytes
	bad    []*recordv1.Finding
}

// Raw returns the entry's bytes, which are the leaf.
func (e *Entry) Raw() []byte { return e.raw }

// Fault says why the bytes can never be accepted. It is nil when they can.
func (e *Entry) Fault() *recordv1.Finding { return e.fault }

// Record returns the signed record. It is nil for the founding and for a fence.
func (e *Entry) Record() *recordv1.Record { return e.rec }

// Signed returns the record as it was signed, a serialised Signed.
func (e *Entry) Signed() []byte { return e.signed }

// Body returns the bytes that the signatures cover.
func (e *Entry) Body() []byte { return e.body }

// Misshapen lists the faults of the record's fields (see Check).
func (e *Entry) Misshapen() []*recordv1.Finding { return e.bad }

// Envelope returns the journal envelope. It is nil for a direct entry.
func (e *Entry) Envelope() *recordv1.Envelope { return e.env }

// Keys returns the keys with a valid signature over the record, in order: the signer's
// key, then those of CountersignersOf.
func (e *Entry) Keys() [][]byte { return e.keys }

// Decode reads an entry and checks every signature in it, with crypto/ed25519 alone and
// one rule on every path. The result depends only on the bytes, so replicas may decode
// in parallel and keep the result by hash. The only error is ErrNewer. Every other fault
// is part of the Entry and becomes a refusal.
func Decode(raw []byte) (*Entry, error) { return (*Verified)(nil).Decode(raw) }

// Decode decodes an entry. It reads no record and checks no signature twice.
func (v *Verified) Decode(raw []byte) (*Entry, error) {
	e := &Entry{raw: raw}
	var m recordv1.Entry
	if len(raw) > MaxEntryBytes {
		e.fault = EntryTooLarge.About("", len(raw), MaxEntryBytes)
		return e, nil
	}
	if err := proto.Unmarshal(raw, &m); err != nil {
		e.fault = Malformed.About("", "part-entry")
		return e, nil
	}
	if m.GetFormat() > EntryFormat || len(m.ProtoReflect().GetUnknown()) > 0 {
		return nil, ErrNewer
	}
	e.time = m.GetTimeUnixMs()
	switch b := m.GetBody().(type) {
	case *recordv1.Entry_Founding:
		return e, e.decodeFounding(b.Founding, v)
	case *recordv1.Entry_Direct:
		return e, e.decodeSigned(b.Direct, v)
	case *recordv1.Entry_Journal:
		return e, e.decodeSealed(b.Journal, v)
	}
	e.fault = Empty.About("", "part-entry")
	return e, nil
}

func (e *Entry) decodeFounding(raw []byte, v *Verified) error {
	var f recordv1.Founding
	if err := e.openSigned(raw, seal.FoundingDomain, &f, v); err != nil || e.fault != nil {
		return err
	}
	e.founding = &f
	return nil
}

func (e *Entry) decodeSigned(raw []byte, v *Verified) error {
	if known := v.record(raw); known != nil {
		e.signedRecord = *known
		return nil
	}
	var r recordv1.Record
	if err := e.openSigned(raw, seal.RecordDomain, &r, v); err != nil || e.fault != nil {
		return err
	}
	if r.GetAct() == nil {
		e.fault = Empty.About("", "part-record")
		return nil
	}
	if e.fault = wrongSigners(&r, e.keys); e.fault != nil {
		return nil
	}
	if p := r.GetPublishDrawing(); p != nil {
		// A release that knows these fields accepts the drawing, so this one must not
		// refuse it.
		var d recordv1.Drawing
		if proto.Unmarshal(p.GetDrawing(), &d) == nil && hasUnknown(d.ProtoReflect()) {
			return ErrNewer
		}
	}
	e.rec, e.signed, e.bad = &r, raw, Check(&r)
	v.keepRecord(&e.signedRecord)
	return nil
}

func (e *Entry) openSigned(raw []byte, domain string, into proto.Message, v *Verified) error {
	var s recordv1.Signed
	if err := proto.Unmarshal(raw, &s); err != nil {
		e.fault = Malformed.About("", "part-signed")
		return nil
	}
	if err := proto.Unmarshal(s.GetBody(), into); err != nil {
		e.fault = Malformed.About("", "part-record")
		return nil
	}
	if hasUnknown(s.ProtoReflect()) || hasUnknown(into.ProtoReflect()) {
		return ErrNewer
	}
	if len(s.GetSignatures()) == 0 {
		e.fault = Unsigned.About("")
		return nil
	}
	if len(s.GetSignatures()) > MaxSignatures {
		e.fault = TooManySignatures.About("", len(s.GetSignatures()), MaxSignatures)
		return nil
	}
	for _, sig := range s.GetSignatures() {
		if !v.check(domain, sig.GetKey(), s.GetBody(), sig.GetSignature()) {
			e.fault = BadSignature.About("")
			return nil
		}
		e.keys = append(e.keys, sig.GetKey())
	}
	e.body = s.GetBody()
	return nil
}

func (e *Entry) decodeSealed(raw []byte, v *Verified) error {
	var s recordv1.Sealed
	if err := proto.Unmarshal(raw, &s); err != nil {
		e.fault = Malformed.About("", "part-sealed")
		return nil
	}
	var env recordv1.Envelope
	if err := proto.Unmarshal(s.GetEnvelope(), &env); err != nil {
		e.fault = Malformed.About("", "part-envelope")
		return nil
	}
	if hasUnknown(s.ProtoReflect()) || hasUnknown(env.ProtoReflect()) {
		return ErrNewer
	}
	if !v.check(seal.EnvelopeDomain, s.GetKey(), s.GetEnvelope(), s.GetSignature()) {
		e.fault = BadYardSignature.About("")
		return nil
	}
	e.env, e.envHash, e.envKey = &env, EnvelopeHash(raw), s.GetKey()
	switch b := env.GetBody().(type) {
	case *recordv1.Envelope_Fence:
		return nil
	case *recordv1.Envelope_Signed:
		return e.decodeSigned(b.Signed, v)
	}
	e.fault = Empty.About("", "part-envelope")
	return nil
}

// EnvelopeHash is the hash that the next envelope of the journal names as previous. It
// is the SHA-256 of the envelope inside the Sealed: the bytes that the yard signed. The
// bytes around them do not count, because anybody who passes them on could write them in
// another way.
func EnvelopeHash(sealed []byte) [32]byte {
	var s recordv1.Sealed
	if err := proto.Unmarshal(sealed, &s); err != nil {
		return sha256.Sum256(sealed)
	}
	return sha256.Sum256(s.GetEnvelope())
}

// hasUnknown reports whether a message has fields that this release does not know, at
// any depth.
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

// DirectEntry wraps a signed record for the quorum, without a time. The leader sets the
// time with Stamp.
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

// Stamp sets the time of an entry. The signed bytes inside do not change.
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

// mustMarshal serialises a message. This fails only on invalid UTF-8, and every string
// here was read from a valid message.
func mustMarshal(m proto.Message) []byte {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil
	}
	return b
}
