package ledger_test

import (
	"bytes"
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// sameEntry compares what two decodings make of an entry.
func sameEntry(t *testing.T, what string, raw []byte, v *ledger.Verified) {
	t.Helper()
	want, wantErr := ledger.Decode(raw)
	for _, pass := range []string{"first", "again"} {
		got, err := v.Decode(raw)
		if fmt.Sprint(err) != fmt.Sprint(wantErr) {
			t.Fatalf("%s, %s: error %v, want %v", what, pass, err, wantErr)
		}
		if err != nil {
			continue
		}
		if !proto.Equal(got.Fault(), want.Fault()) || !proto.Equal(got.Record(), want.Record()) || !proto.Equal(got.Envelope(), want.Envelope()) ||
			fmt.Sprintf("%x", got.Keys()) != fmt.Sprintf("%x", want.Keys()) || !bytes.Equal(got.Raw(), want.Raw()) {
			t.Fatalf("%s, %s: fault %v, want %v", what, pass, got.Fault(), want.Fault())
		}
	}
}

// TestVerifiedAnswersAsDecode: one memory for all of them, and every bit of an
// entry flipped: what is remembered never makes a changed one valid
// (decisions.md 13: one verification rule on every path).
func TestVerifiedAnswersAsDecode(t *testing.T) {
	t.Parallel()
	w := found(t)
	var v ledger.Verified
	body := marshal(t, w.record("nia", actPoint(main1)))
	direct := ledger.DirectEntry(signed(t, seal.RecordDomain, body, w.keys["nia"]))
	sameEntry(t, "whole", direct, &v)
	stamped, err := ledger.Stamp(direct, 12345)
	if err != nil {
		t.Fatal(err)
	}
	sameEntry(t, "stamped", stamped, &v)
	for i := range len(direct) * 8 {
		bad := bytes.Clone(direct)
		bad[i/8] ^= 1 << (i % 8)
		sameEntry(t, fmt.Sprintf("bit %d", i), bad, &v)
	}
	// The same bytes, cut elsewhere into key, signature and body.
	var s recordv1.Signed
	if err := proto.Unmarshal(signed(t, seal.RecordDomain, body, w.keys["nia"]), &s); err != nil {
		t.Fatal(err)
	}
	key, sig := s.GetSignatures()[0].GetKey(), s.GetSignatures()[0].GetSignature()
	for _, moved := range []*recordv1.Signature{{Key: key[:31], Signature: append(bytes.Clone(key[31:]), sig...)}, {Key: append(bytes.Clone(key), sig[0]), Signature: sig[1:]}, {Key: key, Signature: sig[:63]}} {
		sameEntry(t, "cut elsewhere", ledger.DirectEntry(marshal(t, &recordv1.Signed{Body: body, Signatures: []*recordv1.Signature{moved}})), &v)
	}
	// Signed, and found valid, for another purpose: these bytes can be read as an
	// envelope and as a record.
	both := marshal(t, &recordv1.Envelope{Ledger: w.id, Yard: "nia"})
	if err := proto.Unmarshal(signed(t, seal.EnvelopeDomain, both, w.keys["nia"]), &s); err != nil {
		t.Fatal(err)
	}
	first := s.GetSignatures()[0]
	sameEntry(t, "an envelope", ledger.JournalEntry(marshal(t, &recordv1.Sealed{Envelope: both, Key: first.GetKey(), Signature: first.GetSignature()})), &v)
	sameEntry(t, "another domain", ledger.DirectEntry(marshal(t, &s)), &v)
	sameEntry(t, "whole", direct, &v)
}
