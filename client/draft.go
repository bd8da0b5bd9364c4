package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// draftHead begins a draft's text, so that no other file is mistaken for a draft.
const draftHead = "yardhasp draft 1"

// Draft is a record that several people sign, as a text that passes between them. Its
// bytes are fixed when it is made, with the ticket of its maker. Each person signs these
// bytes, in any order. Anybody who has the complete draft may send it, as often as
// needed (decisions.md 21).
type Draft struct {
	body   []byte
	rec    *recordv1.Record
	places []place
}

// place is one signature that a draft needs.
type place struct {
	person    string // empty: the new key signs here
	key       []byte // only for a new key that has not signed yet
	signature *recordv1.Signature
}

// NewDraft makes a draft of a record and signs it as this person.
func (c *Client) NewDraft(rec *recordv1.Record) (*Draft, error) {
	people, newKey := ledger.CountersignersOf(rec)
	if len(people) == 0 && newKey == nil {
		return nil, fmt.Errorf("%s is signed by one person alone: send it as it is", ledger.KindOf(rec))
	}
	signed, err := c.Sign(rec)
	if err != nil {
		return nil, err
	}
	d, err := draftOf(signed)
	if err != nil {
		return nil, err
	}
	return d, nil
}

// ReadDraft reads a draft's text and checks its signatures. A changed draft is a
// *Tampered.
func ReadDraft(text []byte) (*Draft, error) {
	head, rest, _ := strings.Cut(strings.TrimSpace(string(text)), "\n")
	if strings.TrimSpace(head) != draftHead {
		return nil, errors.New("this is no draft: give the whole text that a draft command printed, first line included")
	}
	raw, err := base64.StdEncoding.DecodeString(strings.Join(strings.Fields(rest), ""))
	if err != nil {
		return nil, damaged("the draft was cut off or changed: ask for it again")
	}
	return draftOf(raw)
}

// draftOf reads a Signed whose signatures may be in any order and incomplete.
func draftOf(raw []byte) (*Draft, error) {
	var s recordv1.Signed
	d := &Draft{rec: &recordv1.Record{}}
	if proto.Unmarshal(raw, &s) != nil || proto.Unmarshal(s.GetBody(), d.rec) != nil {
		return nil, damaged("the draft was cut off or changed: ask for it again")
	}
	d.body = s.GetBody()
	people, newKey := ledger.CountersignersOf(d.rec)
	if len(people) == 0 && newKey == nil || len(ledger.Check(d.rec)) > 0 {
		return nil, damaged("the draft holds no record for several people to sign: ask for it again")
	}
	d.places = append(d.places, place{person: d.rec.GetSigner()})
	for _, p := range people {
		d.places = append(d.places, place{person: p})
	}
	if newKey != nil {
		d.places = append(d.places, place{key: newKey})
	}
	if len(s.GetSignatures()) > len(d.places) {
		return nil, damaged("the draft has more signatures than people who sign it: ask for it again")
	}
	for i, sig := range s.GetSignatures() {
		if len(sig.GetKey()) == 0 && len(sig.GetSignature()) == 0 {
			continue // not yet signed
		}
		if !seal.Verify(seal.RecordDomain, sig.GetKey(), d.body, sig.GetSignature()) {
			return nil, damaged("a signature of the draft does not hold: it was changed, ask for it again")
		}
		d.places[i].signature = sig
	}
	return d, nil
}

// signed is the serialised Signed, with an empty place for each missing signature.
func (d *Draft) signed() ([]byte, error) {
	s := &recordv1.Signed{Body: d.body}
	for _, p := range d.places {
		sig := p.signature
		if sig == nil {
			sig = &recordv1.Signature{}
		}
		s.Signatures = append(s.Signatures, sig)
	}
	return proto.Marshal(s)
}

// Text is the draft as a text to pass on.
func (d *Draft) Text() ([]byte, error) {
	raw, err := d.signed()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintln(&b, draftHead)
	for line := range slices.Chunk([]byte(base64.StdEncoding.EncodeToString(raw)), 76) {
		fmt.Fprintf(&b, "%s\n", line)
	}
	return b.Bytes(), nil
}

// Record is what the people sign. Callers must not change it.
func (d *Draft) Record() *recordv1.Record { return d.rec }

// Missing names who has not signed yet. "the new key" stands for a new key.
func (d *Draft) Missing() []string {
	var out []string
	for _, p := range d.places {
		switch {
		case p.signature != nil:
		case p.person == "":
			out = append(out, "the new key")
		default:
			out = append(out, p.person)
		}
	}
	return out
}

// Countersign adds the signature of this client's person. It is an error when the draft
// is of another ledger, does not name them, or has their signature.
func (c *Client) Countersign(d *Draft) error {
	if !bytes.Equal(d.rec.GetLedger(), c.profile.Ledger) {
		return errors.New("the draft is of another ledger than your profile: nothing signed for one counts in another")
	}
	return d.sign(c.key, func(p *place) bool { return p.person == c.profile.Person },
		fmt.Sprintf("the draft does not name %s: only who is named in it signs", c.profile.Person))
}

// CountersignNewKey adds the signature of the new key that the draft brings in.
func (d *Draft) CountersignNewKey(key ed25519.PrivateKey) error {
	if len(key) != ed25519.PrivateKeySize {
		return errors.New("the new key is not a whole Ed25519 private key: read it from its file again")
	}
	public := key.Public().(ed25519.PublicKey)
	return d.sign(key, func(p *place) bool { return p.person == "" && bytes.Equal(p.key, public) }, "the draft is not about this key")
}

func (d *Draft) sign(key ed25519.PrivateKey, mine func(*place) bool, not string) error {
	i := slices.IndexFunc(d.places, func(p place) bool { return mine(&p) })
	if i < 0 {
		return errors.New(not)
	}
	if d.places[i].signature != nil {
		return errors.New("the draft has this signature already: pass it on to who is missing")
	}
	sig := seal.Sign(key, seal.RecordDomain, d.body)
	if sig == nil {
		return errors.New("the key is not a whole Ed25519 private key: read it from its file again")
	}
	d.places[i].signature = &recordv1.Signature{Key: key.Public().(ed25519.PublicKey), Signature: sig}
	return nil
}

// Send has a complete draft recorded. Errors are as from Submit. After an unknown
// outcome, send the same draft again: it is one act and is taken once.
func (c *Client) Send(ctx context.Context, d *Draft) (*servicev1.Receipt, error) {
	if missing := d.Missing(); len(missing) > 0 {
		return nil, fmt.Errorf("not signed yet by %s: a draft is sent once everybody named has signed", strings.Join(missing, ", "))
	}
	if !bytes.Equal(d.rec.GetLedger(), c.profile.Ledger) {
		return nil, errors.New("the draft is of another ledger than your profile")
	}
	signed, err := d.signed()
	if err != nil {
		return nil, err
	}
	return c.send(ctx, &parcel{signed: signed, rec: d.rec, direct: true, yards: c.order()})
}

// ReplaceKey replaces this client's key by a new one. Save the new key on disk before
// calling. Keep both keys until an answer came: the ledger may have taken the new key
// even when no answer comes.
func (c *Client) ReplaceKey(ctx context.Context, key ed25519.PrivateKey) (*servicev1.Receipt, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, errors.New("the new key is not a whole Ed25519 private key")
	}
	d, err := c.NewDraft(&recordv1.Record{Act: &recordv1.Record_ReplaceKey{ReplaceKey: &recordv1.ReplaceKey{Key: key.Public().(ed25519.PublicKey)}}})
	if err != nil {
		return nil, err
	}
	if err := d.CountersignNewKey(key); err != nil {
		return nil, err
	}
	return c.Send(ctx, d)
}
