package seal

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"strings"
)

// The domains: what a signature is for. A new meaning gets a new domain; one
// that has been used is never changed.
const (
	// RecordDomain is for bodies signed by the person whose act it is.
	RecordDomain = "yardhasp record v1"
	// EnvelopeDomain is for journal envelopes signed by a replica's key.
	EnvelopeDomain = "yardhasp envelope v1"
	// FoundingDomain is for the first entry of a ledger.
	FoundingDomain = "yardhasp founding v1"
)

// Sign returns the 64-byte Ed25519 signature of domain, a zero byte and body.
// It returns nil, which verifies nowhere, if the key is not an Ed25519 private
// key's 64 bytes or the domain is empty or holds a zero byte.
func Sign(key ed25519.PrivateKey, domain string, body []byte) []byte {
	if len(key) != ed25519.PrivateKeySize || !validDomain(domain) {
		return nil
	}
	return ed25519.Sign(key, signedBytes(domain, body))
}

// Verify reports whether signature is key's signature of body for domain. A
// key, signature or domain of the wrong form is simply not valid.
func Verify(domain string, key, body, signature []byte) bool {
	if len(key) != ed25519.PublicKeySize || len(signature) != ed25519.SignatureSize || !validDomain(domain) {
		return false
	}
	return ed25519.Verify(key, signedBytes(domain, body), signature)
}

// validDomain keeps "a" + 0 + "b" + 0 + body from having two readings.
func validDomain(domain string) bool {
	return domain != "" && strings.IndexByte(domain, 0) < 0
}

func signedBytes(domain string, body []byte) []byte {
	b := make([]byte, 0, len(domain)+1+len(body))
	b = append(b, domain...)
	b = append(b, 0)
	return append(b, body...)
}

// Fingerprint names an Ed25519 public key the way OpenSSH does: "SHA256:" and
// unpadded base64. It does not judge the key: bytes that are no key get a name
// of their own, which no key has.
func Fingerprint(key []byte) string {
	const algorithm = "ssh-ed25519"
	wire := make([]byte, 0, 4+len(algorithm)+4+len(key))
	wire = binary.BigEndian.AppendUint32(wire, uint32(len(algorithm)))
	wire = append(wire, algorithm...)
	wire = binary.BigEndian.AppendUint32(wire, uint32(len(key)))
	wire = append(wire, key...)
	sum := sha256.Sum256(wire)
	return "SHA256:" + base64.RawStdEncoding.EncodeToString(sum[:])
}
