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

// recordsKept is how many records a Verified remembers at least, and recordKept how
// many bytes of one: those on their way from a server through a journal.
const (
	recordsKept = 1 << 10
	recordKept  = 1 << 13
)

// Verified remembers which signatures were valid and what the records were, so that
// one replica reads and checks each record once though it passes several times on its
// way into the ledger (decisions.md 13). Only its own check by seal.Verify puts one in,
// under a hash of everything that check reads; so its Decode always gives what Decode
// gives. The zero value remembers nothing yet, and nil never does. It is safe for
// concurrent use.
type Verified struct {
	mu         sync.Mutex
	signatures generations[struct{}]
	records    generations[*signedRecord]
	checks     uint64
	reads      uint64
}

// Counts returns how many signatures were checked and how many records read since it
// was made: what it remembered is not counted.
func (v *Verified) Counts() (checks, reads uint64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.checks, v.reads
}

// check is seal.Verify.
func (v *Verified) check(domain string, key, body, signature []byte) bool {
	// With these lengths fixed no two different questions have one hash.
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

// record is what a serialised Signed was found to hold, nil when it is not remembered.
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

// generations is a memory that forgets its oldest half when it has too much.
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
