package store

import (
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"
)

// missingLeaf words the error for an entry that is missing although it should be
// there.
func missingLeaf(err error, index uint64) error {
	if errors.Is(err, badger.ErrKeyNotFound) {
		return &DamagedError{What: fmt.Sprintf("history entry %d", index), Why: "it is missing"}
	}
	return err
}

func (h *History) checkIndex(index uint64) error {
	if size := h.Size(); index >= size {
		return fmt.Errorf("entry %d: history has %d entries: %w", index, size, ErrNotInHistory)
	}
	return nil
}

// view runs a read. Its error is clear when the history was closed.
func (h *History) view(read func(*badger.Txn) error) error {
	err := h.db.View(read)
	if errors.Is(err, badger.ErrDBClosed) {
		return ErrClosed
	}
	return err
}

// Entry returns the bytes of an entry. The error matches ErrNotInHistory if there is
// no such entry. It is a DamagedError if the bytes changed on disk.
func (h *History) Entry(index uint64) (entry []byte, err error) {
	if err := h.checkIndex(index); err != nil {
		return nil, err
	}
	err = h.view(func(txn *badger.Txn) error {
		entry, err = readValue(txn, leafKey(index, partEntry), fmt.Sprintf("history entry %d", index))
		return missingLeaf(err, index)
	})
	return entry, err
}

// Outcome returns the outcome of an entry, nil if it is unknown. The errors are those
// of Entry.
func (h *History) Outcome(index uint64) (outcome []byte, err error) {
	if err := h.checkIndex(index); err != nil {
		return nil, err
	}
	err = h.view(func(txn *badger.Txn) error {
		outcome, err = readOutcome(txn, index)
		return err
	})
	return outcome, err
}

func readOutcome(txn *badger.Txn, index uint64) ([]byte, error) {
	outcome, err := readValue(txn, leafKey(index, partResult), fmt.Sprintf("outcome of history entry %d", index))
	if errors.Is(err, badger.ErrKeyNotFound) {
		return nil, nil
	}
	if outcome == nil && err == nil {
		outcome = []byte{} // stored, but empty
	}
	return outcome, err
}

// ByRef returns the first index whose item had the ref, false if none had.
func (h *History) ByRef(ref string) (index uint64, found bool, err error) {
	size := h.Size()
	err = h.view(func(txn *badger.Txn) error {
		index, found, err = readRef(txn, ref)
		return err
	})
	// After a power cut a ref may be there without its entry.
	if err != nil || !found || index >= size {
		return 0, false, err
	}
	return index, true, nil
}

func readRef(txn *badger.Txn, ref string) (index uint64, found bool, err error) {
	what := fmt.Sprintf("ref %q of the history", ref)
	value, err := readValue(txn, refKey(ref), what)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, err
	}
	if len(value) != 8 {
		return 0, false, &DamagedError{What: what, Why: fmt.Sprintf("it has %d bytes, not 8", len(value))}
	}
	return binary.BigEndian.Uint64(value), true, nil
}

// Range calls fn for each entry in [from, to), in order. All reads are of one moment.
// It stops at the end of the history, or at the first error of fn, and returns that
// error. fn may keep the item's bytes.
func (h *History) Range(from, to uint64, fn func(Item) error) error {
	to = min(to, h.Size())
	return h.view(func(txn *badger.Txn) error {
		for i := from; i < to; i++ {
			entry, err := readValue(txn, leafKey(i, partEntry), fmt.Sprintf("history entry %d", i))
			if err != nil {
				return missingLeaf(err, i)
			}
			outcome, err := readOutcome(txn, i)
			if err != nil {
				return err
			}
			if err := fn(Item{Index: i, Entry: entry, Outcome: outcome}); err != nil {
				return err
			}
		}
		return nil
	})
}

// A hashReader gives tlog the stored hashes. A transaction sees its own writes.
type hashReader struct{ txn *badger.Txn }

func (r *hashReader) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	hashes := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		what := fmt.Sprintf("tree hash %d of the history", index)
		value, err := readValue(r.txn, hashKey(index), what)
		if errors.Is(err, badger.ErrKeyNotFound) {
			return nil, &DamagedError{What: what, Why: "it is missing"}
		}
		if err != nil {
			return nil, err
		}
		if len(value) != tlog.HashSize {
			return nil, &DamagedError{What: what, Why: fmt.Sprintf("it has %d bytes", len(value))}
		}
		hashes[i] = tlog.Hash(value)
	}
	return hashes, nil
}

func (h *History) checkSize(size uint64) error {
	if have := h.Size(); size > have {
		return fmt.Errorf("tree of %d entries: history has %d: %w", size, have, ErrNotInHistory)
	}
	return nil
}

// TreeHash is the RFC 6962 root of the first size entries.
func (h *History) TreeHash(size uint64) (root [32]byte, err error) {
	if err := h.checkSize(size); err != nil {
		return root, err
	}
	err = h.view(func(txn *badger.Txn) error {
		hash, err := tlog.TreeHash(int64(size), &hashReader{txn: txn})
		root = hash
		return err
	})
	return root, err
}

// ProveRecord returns the RFC 6962 audit path of an entry in the tree of the first
// size entries. tlog.CheckRecord checks it.
func (h *History) ProveRecord(size, index uint64) (proof tlog.RecordProof, err error) {
	if err := h.checkSize(size); err != nil {
		return nil, err
	}
	if index >= size {
		return nil, fmt.Errorf("entry %d is not in a tree of %d entries: ask for a lower index or a larger tree", index, size)
	}
	err = h.view(func(txn *badger.Txn) error {
		proof, err = tlog.ProveRecord(int64(size), int64(index), &hashReader{txn: txn})
		return err
	})
	return proof, err
}

// ProveTree returns the RFC 6962 consistency proof between the tree of the first old
// entries and that of the first size entries. old must be at least 1. tlog.CheckTree
// checks it.
func (h *History) ProveTree(size, old uint64) (proof tlog.TreeProof, err error) {
	if err := h.checkSize(size); err != nil {
		return nil, err
	}
	if old == 0 || old > size {
		return nil, fmt.Errorf("no proof from a tree of %d entries to one of %d: the old size must be from 1 to the new one", old, size)
	}
	err = h.view(func(txn *badger.Txn) error {
		proof, err = tlog.ProveTree(int64(size), int64(old), &hashReader{txn: txn})
		return err
	})
	return proof, err
}
