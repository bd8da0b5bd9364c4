package ledger

import (
	"crypto/ed25519"
	"crypto/sha256"
	"sync"

	"yardhasp/ledger/seal"
)

// verifiedKept is how many signatures a Verified remembers at least. That is enough for
// the records under way and for a day's records of a yard that was cut off.
const verifiedKept = 1 << 14

// recordsKept is how many records a Verified remembers at least. recordKept is the
// largest record it remembers, in bytes. That is enough for the records on their way
// from a server through a journal.
const (
	recordsKept = 1 << 10
	recordKept  = 1 << 13
)

// Verified remembers which signatures were valid and what their records were. A record
// passes a replica several times on its way into the ledger, and this way it is read and
// checked only once (decisions.md 13). Only Verified's own check with seal.Verify adds a
// signature, under a hash of everything that the check reads. So its Decode always gives
// the same result as Decode. The zero value remembers nothing yet. A nil Verified never
// remembers. It is safe for concurrent use.
type Verified struct {
	mu         sync.Mutex
	signatures generations[struct{}]
	records    generations[*signedRecord]
	checks     uint64
	reads      uint64
}

// Counts returns how many signatures were checked and how many records were read. What
// was remembered is not counted.
func (v *Verified) Counts() (checks, reads uint64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.checks, v.reads
}

// check gives the same answer as seal.Verify.
func (v *Verified) check(domain string, key, body, signature []byte) bool {
	// With fixed lengths, two different questions can never have the same hash.
	if len(key) != ed25519.PublicKeySize || len(signature) != ed25519.SignatureSize {
		return false
	}
	if v == nil {
		return seal.Verify(domain, key, body, signature)
	}
	b := make([]byte, 0, len(key)+len(signature)+len(domain)+1+len(body))
	b = append(append(b, key...), signature...)
	b = append(append(append(b, domain...), 0), body...)
	id := sha256.Sum256(b)
	v.mu.Lock()
	_, known := v.signatures.get(id)
	v.mu.Unlock()
	if known {
		return true
	}
	valid := seal.Verify(domain, key, body, signature)
	v.mu.Lock()
	defer v.mu.Unlock()
	v.checks++
	if valid {
		v.signatures.put(id, struct{}{}, verifiedKept)
	}
	return valid
}

// record is what a serialised Signed was found to hold, or nil when it is not
// remembered.
func (v *Verified) record(signed []byte) *signedRecord {
	if v == nil || len(signed) > recordKept {
		return nil
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	r, _ := v.records.get(sha256.Sum256(signed))
	return r
}

// keepRecord remembers a record whose signatures are valid.
func (v *Verified) keepRecord(r *signedRecord) {
	if v == nil {
		return
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	v.reads++
	if len(r.signed) <= recordKept {
		kept := *r
		v.records.put(sha256.Sum256(r.signed), &kept, recordsKept)
	}
}

// generations is a memory that forgets its oldest half when it is full.
type generations[V any] struct{ young, aged map[[32]byte]V }

func (g *generations[V]) get(id [32]byte) (V, bool) {
	if v, known := g.young[id]; known {
		return v, true
	}
	v, known := g.aged[id]
	return v, known
}

func (g *generations[V]) put(id [32]byte, v V, most int) {
	if len(g.young) >= most {
		g.young, g.aged = nil, g.young
	}
	if g.young == nil {
		g.young = map[[32]byte]V{}
	}
	g.young[id] = v
}
