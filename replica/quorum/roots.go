package quorum

import "sync"

// Roots remembers roots of the tree that the state went through: the newest ones, and
// those at round sizes. When one of two replicas is ahead, they can so find a size
// that both know. Roots is safe for concurrent use. The zero Roots is empty.
type Roots struct {
	mu            sync.Mutex
	by            map[uint64][32]byte
	recent, round []uint64 // sizes, oldest first
}

const (
	// keepRoots is how many newest sizes, and how many round sizes, are remembered.
	keepRoots = 1024
	// roundSize is the distance between round sizes, in entries.
	roundSize = 1024
)

// Keep remembers the root of the first size entries.
func (r *Roots) Keep(size uint64, root [32]byte) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.by == nil {
		r.by = map[uint64][32]byte{}
	}
	_, known := r.by[size]
	r.by[size] = root
	if known {
		return
	}
	sizes := &r.recent
	if size%roundSize == 0 {
		sizes = &r.round
	}
	if *sizes = append(*sizes, size); len(*sizes) > keepRoots {
		delete(r.by, (*sizes)[0])
		*sizes = (*sizes)[1:]
	}
}

// At returns the root of the first size entries, false when it is not remembered.
func (r *Roots) At(size uint64) (root [32]byte, known bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	root, known = r.by[size]
	return root, known
}
