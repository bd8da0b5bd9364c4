package store

import (
	"errors"
	"fmt"

	"github.com/dgraph-io/badger/v4"
	"github.com/hashicorp/raft"
)

// deleteChunk is how many entries one transaction deletes.
const deleteChunk = 2000

// commit writes one transaction with its head and makes it durable. Only then can
// readers see the head. The caller holds mu.
func (l *Log) commit(next head, fill func(*badger.Txn) error) error {
	if l.failed != nil {
		return l.failed
	}
	next.writes = l.head.Load().writes + 1
	txn := l.db.NewTransaction(true)
	defer txn.Discard()
	if err := fill(txn); err != nil {
		return err
	}
	key := []byte{keyHead}
	if err := txn.Set(key, sealValue(key, next.encode())); err != nil {
		return err
	}
	err := txn.Commit()
	if err == nil {
		err = l.wal.sync()
	}
	if err == nil {
		err = l.mark.note(next.point())
	}
	if err != nil {
		// After a failed sync nobody knows what is on the disk, so nothing may be
		// built on it.
		l.failed = fmt.Errorf("raft log can take no more writes after a failed one, start the replica again: %w", err)
		return l.failed
	}
	l.head.Store(&next)
	return nil
}

// StageCommitIndex keeps a commit index, which the next StoreLogs writes.
func (l *Log) StageCommitIndex(index uint64) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.staged = index
	return nil
}

// StoreLog stores one entry.
func (l *Log) StoreLog(entry *raft.Log) error { return l.StoreLogs([]*raft.Log{entry}) }

// StoreLogs stores entries that follow the last one without a gap. An empty log may
// begin at any index above 0. Many or long entries are split into several
// transactions, in ascending order. Each is durable before the next, and each moves
// the last index and the commit index. So after a crash the first part of them is
// there. An error before the first transaction leaves the log as it was.
func (l *Log) StoreLogs(entries []*raft.Log) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.failed != nil {
		return l.failed
	}
	want := l.head.Load().last + 1
	for i, e := range entries {
		if i == 0 && want == 1 && e.Index != 0 {
			want = e.Index
		}
		if e.Index != want {
			return fmt.Errorf("raft log entry %d does not follow entry %d", e.Index, want-1)
		}
		if n := len(e.Data) + len(e.Extensions); n > MaxEntryBytes {
			return fmt.Errorf("raft log entry %d has %d bytes, the most is %d: propose less at a time", e.Index, n, MaxEntryBytes)
		}
		want++
	}
	for len(entries) > 0 {
		n, size := 0, 0
		for n < len(entries) && n < txnKeys {
			size += logFixed + len(entries[n].Data) + len(entries[n].Extensions)
			if n > 0 && size > txnBytes {
				break
			}
			n++
		}
		if err := l.storeSome(entries[:n]); err != nil {
			return err
		}
		entries = entries[n:]
	}
	return nil
}

func (l *Log) storeSome(entries []*raft.Log) error {
	next, end := *l.head.Load(), entries[len(entries)-1]
	if next.first == 0 {
		next.first = entries[0].Index
	}
	next.last, next.term = end.Index, end.Term
	next.commit = max(next.commit, min(l.staged, next.last))
	err := l.commit(next, func(txn *badger.Txn) error {
		for _, e := range entries {
			key := entryKey(e.Index)
			value := make([]byte, 0, logFixed+len(e.Data)+len(e.Extensions)+4)
			if err := txn.Set(key, sealValue(key, encodeLog(value, e))); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("store raft log entries %d to %d: %w", entries[0].Index, end.Index, err)
	}
	return nil
}

// DeleteRange deletes the entries from low to high, both included. They must be at the
// beginning of the log, at its end, or all of it: a hole in the middle is an error. It
// works in chunks. Each chunk leaves a log without a gap, and other writes may come
// between. Indexes outside the log are no error.
func (l *Log) DeleteRange(low, high uint64) error {
	for {
		more, err := l.deleteSome(low, high)
		if err != nil {
			return fmt.Errorf("delete raft log entries %d to %d: %w", low, high, err)
		}
		if !more {
			return nil
		}
	}
}

// deleteSome deletes one chunk, and reports whether there is more to delete.
func (l *Log) deleteSome(low, high uint64) (more bool, err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.failed != nil {
		return false, l.failed
	}
	next := *l.head.Load()
	if next.last == 0 || low > high || high < next.first || low > next.last {
		return false, nil
	}
	low, high = max(low, next.first), min(high, next.last)
	switch {
	case low == next.first: // the beginning, in ascending order
		if high-low >= deleteChunk {
			high, more = low+deleteChunk-1, true
		}
		next.first = high + 1
	case high == next.last: // the end, in descending order
		if high-low >= deleteChunk {
			low, more = high-deleteChunk+1, true
		}
		var end raft.Log
		if err := l.readEntry(low-1, &end); errors.Is(err, badger.ErrKeyNotFound) {
			return false, missingEntry(low - 1)
		} else if err != nil {
			return false, err
		}
		next.last, next.term = end.Index, end.Term
	default:
		return false, fmt.Errorf("it would leave a hole in the log of %d to %d", next.first, next.last)
	}
	if next.first > next.last {
		next.first, next.last, next.term = 0, 0, 0
	}
	next.commit = min(next.commit, next.last)
	return more, l.commit(next, func(txn *badger.Txn) error {
		for i := low; i <= high; i++ {
			if err := txn.Delete(entryKey(i)); err != nil {
				return err
			}
		}
		return nil
	})
}
