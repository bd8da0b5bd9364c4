package ledger

import (
	"crypto/ed25519"
	"crypto/sha256"
	"sync"

	"yardhasp/ledger/seal"
)

// verifiedKept is how many signatures a Verified remembers at least: those of what
// is under way, and of a day's records of a yard that was cut off.
const verifiedKept = 1 << 14

// Verified remembers which signatures were valid, so that one replica checks each
// once though an entry passes it several times on its way into the ledger
// (decisions.md 13). Only its own check by seal.Verify puts one in, under a hash of
// everything that check reads; so its Decode always gives what Decode gives. The
// zero value remembers nothing yet. It is safe for concurrent use.
type Verified struct {
	mu          sync.Mutex
	young, aged map[[32]byte]struct{}
}

// Decode is Decode, with no signature checked twice.
func (v *Verified) Decode(raw []byte) (*Entry, error) { return decode(raw, v.check) }

// check is seal.Verify.
func (v *Verified) check(domain string, key, body, signature []byte) bool {
	// With these lengths fixed no two different questions have one hash.
	if len(key) != ed25519.PublicKeySize || len(signature) != ed25519.SignatureSize {
		return false
	}
	b := make([]byte, 0, len(key)+len(signature)+len(domain)+1+len(body))
	b = append(append(b, key...), signature...)
	b = append(append(append(b, domain...), 0), body...)
	id := sha256.Sum256(b)
	if v.has(id) {
		return true
	}
	if !seal.Verify(domain, key, body, signature) {
		return false
	}
	v.keep(id)
	return true
}

func (v *Verified) has(id [32]byte) bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	_, young := v.young[id]
	_, aged := v.aged[id]
	return young || aged
}

// keep remembers one, and forgets the oldest half when there are too many.
func (v *Verified) keep(id [32]byte) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if len(v.young) >= verifiedKept {
		v.young, v.aged = nil, v.young
	}
	if v.young == nil {
		v.young = map[[32]byte]struct{}{}
	}
	v.young[id] = struct{}{}
}
