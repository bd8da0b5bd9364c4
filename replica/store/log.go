package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"

	"github.com/dgraph-io/badger/v4"
	"github.com/hashicorp/raft"
)

// Keys of the raft log's database: one byte of kind, then the rest.
const (
	keyHead   = 'h' // alone: the head
	keyEntry  = 'l' // index, big-endian: an entry
	keyBytes  = 's' // name: a raft variable
	keyNumber = 'u' // name: a raft variable that is a number
)

const logMemtable = 8 << 20

// A Log is a raft log and raft's own variables on disk. It is safe for
// concurrent use. Every write is durable when its call returns; one that fails
// leaves the disk in doubt, so that every later write fails too, and the
// replica has to stop and start again.
//
// Do not wrap it in raft.LogCache, which hides StageCommitIndex.
type Log struct {
	db   *badger.DB
	wal  *walFile
	mark *markFile

	head atomic.Pointer[head] // of what is durable

	mu     sync.Mutex // held by writers
	staged uint64     // commit index for the next StoreLogs
	failed error      // why no more can be written
}

var (
	_ raft.LogStore               = (*Log)(nil)
	_ raft.StableStore            = (*Log)(nil)
	_ raft.MonotonicLogStore      = (*Log)(nil)
	_ raft.CommitTrackingLogStore = (*Log)(nil)
)

// OpenLog opens the raft log under a data directory, or makes one. The error
// matches ErrDirInUse or ErrForeign, or is a ShortenedError or DamagedError, as
// the case may be. The logger may be nil.
func OpenLog(dataDir string, logger *slog.Logger) (*Log, error) {
	dir, markPath := filepath.Join(dataDir, "raft"), filepath.Join(dataDir, "raft.mark")
	if err := os.MkdirAll(dataDir, 0o700); err != nil {
		return nil, fmt.Errorf("data directory: %w", err)
	}
	if err := prepareMark(dir, markPath); err != nil {
		return nil, err
	}
	to := newBadgerLogger(logger, "raft log")
	db, err := openBadger(tuned(dir, logMagic, logMemtable, to), to)
	if err != nil {
		return nil, err
	}
	l := &Log{db: db}
	if err := l.open(dir, markPath); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// prepareMark makes the mark of a new log and refuses a log whose mark is gone.
func prepareMark(dir, markPath string) error {
	old, err := hasDatabase(dir)
	if err != nil {
		return fmt.Errorf("raft log: %w", err)
	}
	_, err = os.Stat(markPath)
	switch {
	case err == nil:
		return nil
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("raft log: %w", err)
	case old:
		return &DamagedError{What: markPath, Why: "it is missing, though the raft log beside it is not"}
	}
	return createMark(markPath)
}

func (l *Log) open(dir, markPath string) error {
	var (
		found head
		want  point
		err   error
	)
	if l.mark, want, err = openMark(markPath); err != nil {
		return err
	}
	if found, err = l.readHead(); err != nil {
		return err
	}
	if found.writes < want.writes {
		return &ShortenedError{Have: found.last, Want: want.last, HaveWrites: found.writes, WantWrites: want.writes}
	}
	if found.point() != want && found.writes == want.writes {
		return &DamagedError{What: markPath, Why: fmt.Sprintf("it names entry %d of term %d as the last, the log ends at %d of term %d", want.last, want.term, found.last, found.term)}
	}
	// A process killed between sync and answer may have left writes in the page cache only.
	if l.wal, err = openWAL(dir); err != nil {
		return err
	}
	if err := syncAllWAL(dir); err != nil {
		return err
	}
	if found.writes > want.writes {
		if err := l.mark.note(found.point()); err != nil {
			return err
		}
	}
	l.head.Store(&found)
	return l.mark.sync()
}

func (l *Log) readHead() (h head, err error) {
	value, err := l.read([]byte{keyHead}, "raft log head")
	if errors.Is(err, badger.ErrKeyNotFound) {
		return head{}, nil
	}
	if err != nil {
		return head{}, err
	}
	h, ok := decodeHead(value)
	if !ok {
		return head{}, &DamagedError{What: "raft log head", Why: "its indexes contradict each other"}
	}
	return h, nil
}

// read returns a copy of a value; badger.ErrKeyNotFound if there is none.
func (l *Log) read(key []byte, what string) (value []byte, err error) {
	err = l.db.View(func(txn *badger.Txn) error {
		value, err = readValue(txn, key, what)
		return err
	})
	return value, err
}

// readValue returns a copy of a value; badger.ErrKeyNotFound if there is none,
// a DamagedError if badger or its sum finds it damaged.
func readValue(txn *badger.Txn, key []byte, what string) ([]byte, error) {
	item, err := txn.Get(key)
	if errors.Is(err, badger.ErrKeyNotFound) || errors.Is(err, badger.ErrDBClosed) {
		return nil, err
	}
	if err != nil {
		return nil, &DamagedError{What: what, Why: err.Error()}
	}
	sealed, err := item.ValueCopy(nil)
	if err != nil {
		return nil, &DamagedError{What: what, Why: err.Error()}
	}
	value, ok := openValue(key, sealed)
	if !ok {
		return nil, &DamagedError{What: what, Why: "its checksum does not match"}
	}
	return value, nil
}

// Close makes everything durable and lets the directory go. Closing again does nothing.
func (l *Log) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if errors.Is(l.failed, ErrClosed) {
		return nil
	}
	l.failed = ErrClosed
	var errs []error
	if l.wal != nil {
		errs = append(errs, l.wal.close())
	}
	errs = append(errs, l.db.Close())
	if l.mark != nil {
		errs = append(errs, l.mark.close())
	}
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close raft log: %w", err)
	}
	return nil
}

// Compact rewrites the database to free the space of deleted entries, which
// badger by itself frees late. It is slow; writes go on meanwhile.
func (l *Log) Compact() error {
	if err := l.db.Flatten(1); err != nil {
		return fmt.Errorf("compact raft log: %w", err)
	}
	return nil
}

func entryKey(index uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{keyEntry}, index)
}

// IsMonotonic is true: entries follow each other without a gap.
func (l *Log) IsMonotonic() bool { return true }

// FirstIndex returns the index of the first entry, 0 if there is none.
func (l *Log) FirstIndex() (uint64, error) { return l.head.Load().first, nil }

// LastIndex returns the index of the last entry, 0 if there is none.
func (l *Log) LastIndex() (uint64, error) { return l.head.Load().last, nil }

// GetCommitIndex returns the commit index written with the newest entries; it
// is never above the last index.
func (l *Log) GetCommitIndex() (uint64, error) { return l.head.Load().commit, nil }

// GetLog reads an entry. Outside the first and last index the error is
// raft.ErrLogNotFound itself, which raft compares with ==. An entry that is
// missing in between, or was changed on disk, is a DamagedError naming it.
func (l *Log) GetLog(index uint64, out *raft.Log) error {
	if h := l.head.Load(); index == 0 || index < h.first || index > h.last {
		return raft.ErrLogNotFound
	}
	err := l.readEntry(index, out)
	if errors.Is(err, badger.ErrKeyNotFound) {
		// A deletion may have removed it and not yet moved the head: ask again after it.
		l.mu.Lock()
		h := l.head.Load()
		l.mu.Unlock()
		if index < h.first || index > h.last {
			return raft.ErrLogNotFound
		}
		return missingEntry(index)
	}
	if errors.Is(err, badger.ErrDBClosed) {
		return ErrClosed
	}
	return err
}

func missingEntry(index uint64) error {
	return &DamagedError{What: fmt.Sprintf("raft log entry %d", index), Why: "it is missing"}
}

// readEntry reads an entry that should be there; badger.ErrKeyNotFound if it is not.
func (l *Log) readEntry(index uint64, out *raft.Log) error {
	what := fmt.Sprintf("raft log entry %d", index)
	value, err := l.read(entryKey(index), what)
	if err != nil {
		return err
	}
	var read raft.Log
	if !decodeLog(value, &read) || read.Index != index {
		return &DamagedError{What: what, Why: "it cannot be read"}
	}
	*out = read
	return nil
}
