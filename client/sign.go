package client

import (
	"crypto/ed25519"
	"fmt"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Sign fills in ledger, signer, ticket and time of capture, and signs. It returns a
// serialised Signed. Send exactly these bytes, as often as needed.
func (c *Client) Sign(rec *recordv1.Record) ([]byte, error) {
	device, counter, err := c.tickets.Next()
	if err != nil {
		return nil, err
	}
	rec.Ledger, rec.Signer = c.profile.Ledger, c.profile.Person
	rec.Ticket = &recordv1.Ticket{Device: device, Counter: counter}
	rec.CapturedUnixMs = c.now().UnixMilli()
	if bad := ledger.Check(rec); len(bad) > 0 {
		return nil, &Refused{Outcome: &recordv1.Outcome{Kind: ledger.KindOf(rec), Signer: rec.GetSigner(), Conditions: bad}}
	}
	return signRecord(rec, c.key)
}

// signRecord signs a record with each key, in order.
func signRecord(rec *recordv1.Record, keys ...ed25519.PrivateKey) ([]byte, error) {
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(rec)
	if err != nil {
		return nil, fmt.Errorf("sign the record: %w", err)
	}
	s := &recordv1.Signed{Body: body}
	for _, k := range keys {
		sig := seal.Sign(k, seal.RecordDomain, body)
		if sig == nil {
			return nil, fmt.Errorf("sign the record: the key is not a whole Ed25519 private key")
		}
		s.Signatures = append(s.Signatures, &recordv1.Signature{Key: k.Public().(ed25519.PublicKey), Signature: sig})
	}
	raw, err := proto.Marshal(s)
	if err != nil {
		return nil, fmt.Errorf("sign the record: %w", err)
	}
	return raw, nil
}

// recordIn reads the record inside a serialised Signed.
func recordIn(signed []byte) (*recordv1.Record, error) {
	var s recordv1.Signed
	var rec recordv1.Record
	if err := proto.Unmarshal(signed, &s); err != nil {
		return nil, fmt.Errorf("the signed record can't be read: %w", err)
	}
	if err := proto.Unmarshal(s.GetBody(), &rec); err != nil {
		return nil, fmt.Errorf("the record inside the signature can't be read: %w", err)
	}
	return &rec, nil
}
