package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"sync/atomic"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"
)

// Keys of the history's database: one byte for the kind, then the rest. Numbers are
// big-endian.
const (
	keyState   = 'h' // alone: size and synced size
	keyLeaf    = 'e' // index, then partEntry or partOutcome
	keyRef     = 'r' // ref: the first index that has it
	keyHash    = 't' // tlog's stored hash index: a tree hash
	partEntry  = 0
	partResult = 1
)

const historyMemtable = 16 << 20

// ErrNotInHistory matches when the history does not have an index: not at all, not
// yet, or not any more.
var ErrNotInHistory = errors.New("not in this replica's history")

// An Item is one leaf of the ledger.
type Item struct {
	// Index is the ledger index: the leaf number, from 0.
	Index uint64
	// Entry is the leaf's bytes.
	Entry []byte
	// Outcome is what the ledger made of the entry. It is nil if unknown, as for
	// entries that were fetched from another replica.
	Outcome []byte
	// Ref is the name under which ByRef finds the entry, "" for none. It is not read
	// back.
	Ref string
}

// A History holds the ledger's entries from index 0 without a gap, their outcomes, and
// the hashes of the tree over the entries. It is safe for concurrent use.
//
// Writes are not synced. After a power cut the newest entries may be gone, and then
// Size is smaller, but what is there is whole. The caller appends the missing entries
// again, from the raft log or from another replica. Sync makes everything durable.
type History struct {
	db  *badger.DB
	dir string

	size atomic.Uint64

	mu     sync.Mutex // held by writers
	synced uint64     // size at the last Sync
	failed error
}

// OpenHistory opens the history under a data directory, or makes one. The error may
// match ErrDirInUse or ErrForeign, or be a DamagedError. The logger may be nil.
func OpenHistory(dataDir string, logger *slog.Logger) (*History, error) {
	dir := filepath.Join(dataDir, "history")
	to := newBadgerLogger(logger, "history")
	opts := tuned(dir, historyMagic, historyMemtable, to).WithIndexCacheSize(8 << 20)
	db, err := openBadger(opts, to)
	if err != nil {
		return nil, err
	}
	h := &History{db: db, dir: dir}
	if err := h.open(); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return h, nil
}

func (h *History) open() error {
	var size uint64
	err := h.db.View(func(txn *badger.Txn) error {
		value, err := readValue(txn, []byte{keyState}, "history state")
		if errors.Is(err, badger.ErrKeyNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		if len(value) != 16 {
			return &DamagedError{What: "history state", Why: fmt.Sprintf("it has %d bytes, not 16", len(value))}
		}
		size, h.synced = binary.BigEndian.Uint64(value), binary.BigEndian.Uint64(value[8:])
		return nil
	})
	if err != nil {
		return err
	}
	whole, err := h.wholeFrom(h.synced, size)
	if err != nil {
		return err
	}
	h.size.Store(whole)
	if whole == size {
		return nil
	}
	return h.db.Update(func(txn *badger.Txn) error { return setState(txn, whole, min(h.synced, whole)) })
}

// wholeFrom finds how far the entries from one index on reach without a gap. The
// system writes badger's files back in any order. So a power cut can keep a late
// transaction and lose an earlier one.
func (h *History) wholeFrom(from, size uint64) (uint64, error) {
	whole := from
	err := h.db.View(func(txn *badger.Txn) error {
		for ; whole < size; whole++ {
			_, err := txn.Get(leafKey(whole, partEntry))
			if errors.Is(err, badger.ErrKeyNotFound) {
				return nil
			}
			if err != nil {
				return fmt.Errorf("history entry %d: %w", whole, err)
			}
		}
		return nil
	})
	return whole, err
}

func leafKey(index uint64, part byte) []byte {
	return append(binary.BigEndian.AppendUint64([]byte{keyLeaf}, index), part)
}

func hashKey(index int64) []byte {
	return binary.BigEndian.AppendUint64([]byte{keyHash}, uint64(index))
}

func refKey(ref string) []byte { return append([]byte{keyRef}, ref...) }

// set stores a value with its checksum. It may overwrite a value.
func set(txn *badger.Txn, key, value []byte) error { return txn.Set(key, sealValue(key, value)) }

func setState(txn *badger.Txn, size, synced uint64) error {
	value := binary.BigEndian.AppendUint64(nil, size)
	return set(txn, []byte{keyState}, binary.BigEndian.AppendUint64(value, synced))
}

// Size is the number of entries.
func (h *History) Size() uint64 { return h.size.Load() }

// Append adds entries that follow each other. An entry at an index that is already
// present must have the same bytes, and then stays; other bytes are an error. An
// outcome that was unknown is filled in. An index above Size is an error, since the
// history has no gaps. Many entries are split into several transactions, and each
// moves the size. So after an error or a crash, the first part of them is there.
func (h *History) Append(batch []Item) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	for len(batch) > 0 {
		n, size := 0, 0
		for n < len(batch) && n < txnKeys/8 {
			if err := checkItem(batch[n]); err != nil {
				return err
			}
			size += len(batch[n].Entry) + len(batch[n].Outcome) + len(batch[n].Ref) + 512
			if n > 0 && size > txnBytes {
				break
			}
			n++
		}
		if err := h.appendSome(batch[:n]); err != nil {
			return err
		}
		batch = batch[n:]
	}
	return nil
}

// maxRefBytes keeps the key of a ref well below badger's limit for keys.
const maxRefBytes = 1024

func checkItem(it Item) error {
	if n := len(it.Entry) + len(it.Outcome); n > MaxEntryBytes {
		return fmt.Errorf("history entry %d has %d bytes with its outcome, the most is %d", it.Index, n, MaxEntryBytes)
	}
	if len(it.Ref) > maxRefBytes {
		return fmt.Errorf("history entry %d has a ref of %d bytes, the most is %d", it.Index, len(it.Ref), maxRefBytes)
	}
	return nil
}

// appendSome writes one transaction. The caller holds mu.
func (h *History) appendSome(items []Item) error {
	if h.failed != nil {
		return h.failed
	}
	txn := h.db.NewTransaction(true)
	defer txn.Discard()
	var (
		old    = h.size.Load()
		size   = old
		reader = &hashReader{txn: txn}
		wrote  bool
	)
	for _, it := range items {
		var err error
		switch {
		case it.Index > size:
			return fmt.Errorf("history ends at %d entries and cannot take entry %d: append those in between first", size, it.Index)
		case it.Index < old:
			var filled bool
			filled, err = h.repeat(txn, it)
			wrote = wrote || filled
		case it.Index < size:
			return fmt.Errorf("history entry %d is twice in one batch", it.Index)
		default:
			err = h.addLeaf(txn, reader, it)
			size, wrote = size+1, true
		}
		if err != nil {
			return err
		}
	}
	if !wrote {
		return nil
	}
	if size != old {
		if err := setState(txn, size, h.synced); err != nil {
			return fmt.Errorf("history: %w", err)
		}
	}
	if err := txn.Commit(); err != nil {
		h.failed = fmt.Errorf("history can take no more writes after a failed one, start the replica again: %w", err)
		return h.failed
	}
	h.size.Store(size)
	return nil
}

// repeat compares an item with what is stored at its index.
func (h *History) repeat(txn *badger.Txn, it Item) (filled bool, err error) {
	what := fmt.Sprintf("history entry %d", it.Index)
	entry, err := readValue(txn, leafKey(it.Index, partEntry), what)
	if err != nil {
		return false, missingLeaf(err, it.Index)
	}
	if string(entry) != string(it.Entry) {
		return false, &DamagedError{What: what, Why: "other bytes were stored under its index than are now appended"}
	}
	if it.Outcome == nil {
		return false, nil
	}
	key := leafKey(it.Index, partResult)
	outcome, err := readValue(txn, key, "outcome of "+what)
	if errors.Is(err, badger.ErrKeyNotFound) {
		return true, set(txn, key, append([]byte(nil), it.Outcome...))
	}
	if err != nil {
		return false, err
	}
	if string(outcome) != string(it.Outcome) {
		return false, &DamagedError{What: "outcome of " + what, Why: "another outcome was stored than is now appended"}
	}
	return false, nil
}

// addLeaf writes an item after the last one.
func (h *History) addLeaf(txn *badger.Txn, reader *hashReader, it Item) error {
	hashes, err := tlog.StoredHashes(int64(it.Index), it.Entry, reader)
	if err != nil {
		return fmt.Errorf("history entry %d: %w", it.Index, err)
	}
	if err := set(txn, leafKey(it.Index, partEntry), append([]byte(nil), it.Entry...)); err != nil {
		return err
	}
	// A power cut may have lost an entry and kept its outcome. Delete that outcome,
	// even if this item has none.
	key := leafKey(it.Index, partResult)
	if it.Outcome == nil {
		err = txn.Delete(key)
	} else {
		err = set(txn, key, append([]byte(nil), it.Outcome...))
	}
	if err != nil {
		return err
	}
	at := tlog.StoredHashIndex(0, int64(it.Index))
	for i, hash := range hashes {
		if err := set(txn, hashKey(at+int64(i)), append([]byte(nil), hash[:]...)); err != nil {
			return err
		}
	}
	if it.Ref == "" {
		return nil
	}
	first, known, err := readRef(txn, it.Ref)
	if err != nil || known && first < it.Index {
		return err
	}
	return set(txn, refKey(it.Ref), binary.BigEndian.AppendUint64(nil, it.Index))
}

// Sync makes everything appended so far durable.
func (h *History) Sync() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.syncLocked()
}

func (h *History) syncLocked() error {
	if h.failed != nil {
		return h.failed
	}
	if h.synced == h.size.Load() {
		return syncAllWAL(h.dir)
	}
	err := syncAllWAL(h.dir)
	if err == nil {
		// The synced size is written after the sync. So it is true whenever it is
		// read.
		h.synced = h.size.Load()
		err = h.db.Update(func(txn *badger.Txn) error { return setState(txn, h.synced, h.synced) })
	}
	if err != nil {
		h.failed = fmt.Errorf("history can take no more writes after a failed sync, start the replica again: %w", err)
	}
	return h.failed
}

// Close syncs, and lets another process open the directory. A second Close does
// nothing.
func (h *History) Close() error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if errors.Is(h.failed, ErrClosed) {
		return nil
	}
	err := h.syncLocked()
	h.failed = ErrClosed
	if err := errors.Join(err, h.db.Close()); err != nil {
		return fmt.Errorf("close history: %w", err)
	}
	return nil
}
