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

// Keys of the raft log's database: one byte for the kind, then the rest.
const (
	keyHead   = 'h' // alone: the head
	keyEntry  = 'l' // index, big-endian: an entry
	keyBytes  = 's' // name: a raft variable
	keyNumber = 'u' // name: a raft variable that is a number
)

const logMemtable = 8 << 20

// A Log keeps a raft log and raft's own variables on disk. It is safe for concurrent
// use. Every write is durable when its call returns. After a failed write nobody knows
// what is on the disk. So every later write fails too, and the replica must stop and
// start again.
//
// Do not wrap it in raft.LogCache: that hides StageCommitIndex.
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

// OpenLog opens the raft log under a data directory, or makes one. The error may match
// ErrDirInUse or ErrForeign, or be a ShortenedError or a DamagedError. The logger may
// be nil.
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

// prepareMark makes the mark of a new log. It refuses a log whose mark is gone.
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
	// If the process was killed between a write and its sync, the write may be only in
	// the page cache.
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

// read returns a copy of a value, or badger.ErrKeyNotFound if there is none.
func (l *Log) read(key []byte, what string) (value []byte, err error) {
	err = l.db.View(func(txn *badger.Txn) error {
		value, err = readValue(txn, key, what)
		return err
	})
	return value, err
}

// readValue returns a copy of a value. The error is badger.ErrKeyNotFound if there is
// none, and a DamagedError if badger or the checksum finds it damaged.
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

// Close makes everything durable, and lets another process open the directory. A
// second Close does nothing.
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

// Compact rewrites the database to free the space of deleted entries. By itself badger
// frees it late. Compact is slow, but writes go on meanwhile.
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

// GetCommitIndex returns the commit index that was written with the newest entries. It
// is never above the last index.
func (l *Log) GetCommitIndex() (uint64, error) { return l.head.Load().commit, nil }

// GetLog reads an entry. For an index before the first or after the last, the error is
// raft.ErrLogNotFound itself, because raft compares it with ==. If an entry between
// them is missing or was changed on disk, the error is a DamagedError that names it.
func (l *Log) GetLog(index uint64, out *raft.Log) error {
	if h := l.head.Load(); index == 0 || index < h.first || index > h.last {
		return raft.ErrLogNotFound
	}
	err := l.readEntry(index, out)
	if errors.Is(err, badger.ErrKeyNotFound) {
		// A deletion may have removed the entry without having moved the head yet.
		// Wait for it, then look at the head again.
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

// readEntry reads an entry that should be there. If it is not, the error is
// badger.ErrKeyNotFound.
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
