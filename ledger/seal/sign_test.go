package seal_test

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"testing"

	"golang.org/x/crypto/ssh"

	"yardhasp/ledger/seal"
)

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// rfc8032 holds tests 1 to 3 of RFC 8032 section 7.1, written from memory;
// crypto/ed25519 rebuilds the public key and the signature, so that a slip shows.
var rfc8032 = []struct{ secret, public, message, signature string }{
	{
		"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
		"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
		"",
		"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
	},
	{
		"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
		"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
		"72",
		"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
	},
	{
		"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
		"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
		"af82",
		"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
	},
}

// key1 is the key of RFC 8032 section 7.1 test 1.
func key1(t *testing.T) (ed25519.PrivateKey, ed25519.PublicKey) {
	t.Helper()
	key := ed25519.NewKeyFromSeed(unhex(t, rfc8032[0].secret))
	return key, key.Public().(ed25519.PublicKey)
}

// key2 is the key of RFC 8032 section 7.1 test 2.
func key2(t *testing.T) (ed25519.PrivateKey, ed25519.PublicKey) {
	t.Helper()
	key := ed25519.NewKeyFromSeed(unhex(t, rfc8032[1].secret))
	return key, key.Public().(ed25519.PublicKey)
}

// The library underneath is the algorithm of RFC 8032.
func TestLibraryMeetsRFC8032(t *testing.T) {
	for i, v := range rfc8032 {
		key := ed25519.NewKeyFromSeed(unhex(t, v.secret))
		if got := hex.EncodeToString(key.Public().(ed25519.PublicKey)); got != v.public {
			t.Errorf("test %d: public key %s, want %s", i+1, got, v.public)
		}
		if got := hex.EncodeToString(ed25519.Sign(key, unhex(t, v.message))); got != v.signature {
			t.Errorf("test %d: signature %s, want %s", i+1, got, v.signature)
		}
	}
}

const signedBody = "breaker eastfork/pit/leg is open"

// opensslSignatures were made by OpenSSL 3.0.19 (pkeyutl -sign -rawin) over the
// domain, a zero byte and signedBody with the key of RFC 8032 section 7.1 test 1.
var opensslSignatures = map[string]string{
	seal.RecordDomain:   "196ad25d4c2a32a2810a77b5827d60355551f36eaad05281ff14e98cb307a4b1e3e769ce2cb434ab93131138f33828e251ebc8b87b19608002391e2cabe2ee0f",
	seal.EnvelopeDomain: "e9b5aa5b2dcbdcb54cbf9351ab1cfead7178b551c2dae83d3ff7ed2a58d71103d53cde1a48447f406cb0a9ae175dec9afe8ad7d400aab3df5298e7c1e31c7e0f",
	seal.FoundingDomain: "b13bc1f59e2e30c73f9eeb66cd6631315dd0ba9f1aab4be0686219f8992f3cbd0a56f5cfcf40929a52f06070f8bc5022dd0a2a520f58c1eb7db51ae25a79bd03",
}

func TestSignAgreesWithOpenSSL(t *testing.T) {
	key, public := key1(t)
	for domain, want := range opensslSignatures {
		if got := hex.EncodeToString(seal.Sign(key, domain, []byte(signedBody))); got != want {
			t.Errorf("%s: signature %s, want %s", domain, got, want)
		}
		for other := range opensslSignatures {
			got := seal.Verify(other, public, []byte(signedBody), unhex(t, want))
			if got != (other == domain) {
				t.Errorf("signature for %q verifies for %q: %v", domain, other, got)
			}
		}
	}
}

func TestVerifyNoticesEachFlippedBit(t *testing.T) {
	key, public := key1(t)
	body := []byte(signedBody)
	signature := seal.Sign(key, seal.RecordDomain, body)
	if !seal.Verify(seal.RecordDomain, public, body, signature) {
		t.Fatal("the untouched signature does not verify")
	}
	parts := map[string][]byte{"key": bytes.Clone(public), "body": body, "signature": signature}
	for name, part := range parts {
		for i := range part {
			for bit := range 8 {
				part[i] ^= 1 << bit
				if seal.Verify(seal.RecordDomain, parts["key"], parts["body"], parts["signature"]) {
					t.Errorf("%s: byte %d, bit %d flipped and still valid", name, i, bit)
				}
				part[i] ^= 1 << bit
			}
		}
	}
}

// The body begins after the first zero byte, wherever a caller puts one.
func TestDomainHasOneReading(t *testing.T) {
	key, public := key1(t)
	moved := ed25519.Sign(key, []byte("yardhasp record v1\x00a\x00b"))
	if !seal.Verify(seal.RecordDomain, public, []byte("a\x00b"), moved) {
		t.Error("a body may hold a zero byte")
	}
	for _, domain := range []string{"", "yardhasp record v1\x00a"} {
		if seal.Verify(domain, public, []byte("b"), moved) {
			t.Errorf("domain %q verifies", domain)
		}
		if got := seal.Sign(key, domain, []byte("b")); got != nil {
			t.Errorf("domain %q signs: %x", domain, got)
		}
	}
	if seal.Verify("", public, []byte("b"), ed25519.Sign(key, []byte("\x00b"))) {
		t.Error("the empty domain verifies")
	}
}

func TestWrongLengthsAreNotValid(t *testing.T) {
	key, public := key1(t)
	signature := seal.Sign(key, seal.RecordDomain, nil)
	if !seal.Verify(seal.RecordDomain, public, nil, signature) {
		t.Fatal("the empty body does not verify")
	}
	for n := range 100 {
		if n != len(public) && seal.Verify(seal.RecordDomain, make([]byte, n), nil, signature) {
			t.Errorf("key of %d bytes verifies", n)
		}
		if n != len(signature) && seal.Verify(seal.RecordDomain, public, nil, append(bytes.Clone(signature), make([]byte, 36)...)[:n]) {
			t.Errorf("signature of %d bytes verifies", n)
		}
		if n != ed25519.PrivateKeySize && seal.Sign(make([]byte, n), seal.RecordDomain, nil) != nil {
			t.Errorf("private key of %d bytes signs", n)
		}
	}
}

func TestFingerprint(t *testing.T) {
	_, public := key1(t)
	// Printed by ssh-keygen -l of OpenSSH 9.2p1.
	if got, want := seal.Fingerprint(public), "SHA256:bbXpuKG6zhzdmnxq256TlqzFBzRl2f6OOg722cYNbU8"; got != want {
		t.Errorf("fingerprint %s, want %s", got, want)
	}
	for _, v := range rfc8032 {
		public := ed25519.PublicKey(unhex(t, v.public))
		key, err := ssh.NewPublicKey(public)
		if err != nil {
			t.Fatal(err)
		}
		// golang.org/x/crypto/ssh is the second opinion.
		if got, want := seal.Fingerprint(public), ssh.FingerprintSHA256(key); got != want {
			t.Errorf("fingerprint %s, want %s", got, want)
		}
	}
	seen := map[string]int{}
	for n := range 64 {
		f := seal.Fingerprint(make([]byte, n))
		if m, ok := seen[f]; ok {
			t.Errorf("%d and %d zero bytes share the fingerprint %s", n, m, f)
		}
		seen[f] = n
	}
}
