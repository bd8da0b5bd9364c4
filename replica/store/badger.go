package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"
)

// Numbers that badger keeps for us in its manifest: the kind of store in the high
// byte, the format version in the low one. A change of format needs a new version.
const (
	logMagic     uint16 = 0x5901
	historyMagic uint16 = 0x4801
)

const (
	// valueThreshold is the largest value that badger keeps beside its key, in bytes.
	// A longer value would go to the value log, which this package does not sync.
	valueThreshold = 1 << 20
	// MaxEntryBytes is the most bytes that one raft log entry, or one ledger entry, or
	// one outcome may have. Longer ones are refused.
	MaxEntryBytes = valueThreshold - 1024
	// txnBytes and txnKeys bound a transaction. badger's own limit is 15 % of a
	// memtable: here 1.25 MB and some 12,000 keys.
	txnBytes = 512 << 10
	txnKeys  = 4096
)

// tuned returns badger options for a small box. badger's own syncing is off: see the
// package comment.
//
// Blocks are checked when they are read, and tables are not checked when they are
// opened. When a table fails that check, badger 4.9.6 dies of a nil pointer in a
// goroutine of its own. Reading every table of the history would also make the start
// slow. checkTables reads the tables of the raft log.
func tuned(dir string, magic uint16, memtable int64, logger badger.Logger) badger.Options {
	return badger.DefaultOptions(dir).
		WithSyncWrites(false).
		WithMemTableSize(memtable).
		WithNumMemtables(2).
		WithNumLevelZeroTables(2).
		WithNumLevelZeroTablesStall(4).
		WithValueThreshold(valueThreshold).
		WithValueLogFileSize(1 << 20).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithIndexCacheSize(0).
		WithNumCompactors(2).
		WithCompactL0OnClose(true).
		WithMetricsEnabled(false).
		WithDetectConflicts(false).
		WithChecksumVerificationMode(options.OnBlockRead).
		WithExternalMagic(magic).
		WithLogger(logger)
}

// openBadger opens or makes a database, and words badger's errors for people. badger
// only logs some errors while opening, for example about a table that it leaves out.
// These fail the open too.
func openBadger(opts badger.Options, logger *badgerLogger) (db *badger.DB, err error) {
	defer func() {
		if r := recover(); r != nil {
			db, err = nil, &DamagedError{What: "database " + opts.Dir, Why: fmt.Sprint(r)}
		}
	}()
	if err := os.MkdirAll(opts.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("data directory: %w", err)
	}
	if err := checkTables(&opts, opts.ExternalMagicVersion == logMagic); err != nil {
		return nil, err
	}
	db, err = badger.Open(opts)
	if err != nil {
		// badger does not wrap the causes of its errors: only the text tells.
		switch text := err.Error(); {
		case strings.Contains(text, "Cannot acquire directory lock"):
			return nil, fmt.Errorf("data directory %s is in use by another yardhaspd; stop it first: %w", opts.Dir, ErrDirInUse)
		case strings.Contains(text, "magic") || strings.Contains(text, "manifest has unsupported version"):
			return nil, fmt.Errorf("data directory %s: %s: %w: give a directory of its own", opts.Dir, text, ErrForeign)
		}
		return nil, fmt.Errorf("open database %s: %w", opts.Dir, err)
	}
	if said := logger.firstError(); said != "" {
		err := &DamagedError{What: "database " + opts.Dir, Why: said}
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// hasDatabase reports whether badger ever made a database in dir.
func hasDatabase(dir string) (bool, error) {
	_, err := os.Stat(filepath.Join(dir, badger.ManifestFilename))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil, err
}

// badgerLogger passes badger's log on to slog, one level lower: what badger calls
// information helps only a developer.
type badgerLogger struct {
	to    *slog.Logger
	mu    sync.Mutex
	first string // the first error logged
}

func newBadgerLogger(to *slog.Logger, name string) *badgerLogger {
	if to == nil {
		to = slog.New(slog.DiscardHandler)
	}
	return &badgerLogger{to: to.With("store", name)}
}

func (l *badgerLogger) firstError() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.first
}

func (l *badgerLogger) log(level slog.Level, format string, args []any) {
	if !l.to.Enabled(context.Background(), level) {
		return
	}
	l.to.Log(context.Background(), level, strings.TrimSpace(fmt.Sprintf(format, args...)))
}

// Errorf keeps the first error, so that openBadger can fail on it.
func (l *badgerLogger) Errorf(format string, args ...any) {
	l.mu.Lock()
	if l.first == "" {
		l.first = strings.TrimSpace(fmt.Sprintf(format, args...))
	}
	l.mu.Unlock()
	l.log(slog.LevelError, format, args)
}

func (l *badgerLogger) Warningf(format string, args ...any) { l.log(slog.LevelWarn, format, args) }
func (l *badgerLogger) Infof(format string, args ...any)    { l.log(slog.LevelDebug, format, args) }
func (l *badgerLogger) Debugf(string, ...any)               {}
