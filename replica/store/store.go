// Package store keeps a replica's data on disk: the raft log with raft's own
// variables ([Log]), the ledger's entries ([History]), and a watch over free
// space ([DiskWatch]).
//
// # Layout
//
// Both stores live under one data directory:
//
//	raft/       badger: the raft log and raft's variables; every write synced
//	raft.mark   how far the raft log was written, kept apart from badger
//	history/    badger: entries, outcomes, tree hashes; synced on demand
//	ballast     space to give back when the disk is full
//
// Only one process can hold a directory. A second one gets [ErrDirInUse]. Each
// database carries a number of ours. A database of another program, or of another
// format version, is refused with [ErrForeign].
//
// # What a sync is
//
// badger can sync each write itself, but then it syncs twice: the write-ahead file of
// its memtable, and a value log. The value log holds nothing of ours, since every
// value stays below badger's value threshold. So badger's own syncing is off. This
// package calls fdatasync on the write-ahead file (NNNNN.mem) after each transaction
// of the raft log and before it answers: one sync for each write. It also syncs the
// directory when badger begins a new file. badger's Sync leaves out the files that
// badger has put aside but not yet flushed, so this package syncs these too.
//
// # What is noticed
//
// Each value carries a CRC-32C over its key and itself. A value that does not match
// is a [DamagedError]. A raft log whose end is missing is a [ShortenedError]; its
// comment says what it can and cannot notice. badger's table files are checked before
// badger opens them, those of the raft log block by block. [History.Verify] does the
// same for the history, which may be large.
//
// # Traps of badger 4.9.6
//
//   - With SyncWrites every call syncs twice. This package syncs the write-ahead
//     file itself, once (wal.go).
//   - With OnTableAndBlockRead one flipped byte kills the process inside badger.
//     Blocks are verified when they are read instead (badger.go).
//   - A table that was cut short kills the process. badger deletes tables that
//     MANIFEST does not name. For a key in a damaged block it answers "no such
//     key". So tables.go checks the tables before badger opens them.
package store

import (
	"errors"
	"fmt"
)

// ErrDirInUse matches when another process, or another store of this process, holds
// the data directory.
var ErrDirInUse = errors.New("data directory is in use")

// ErrForeign matches when a directory holds a database that is not ours, or has
// another format version.
var ErrForeign = errors.New("not a database of this program and format")

// ErrClosed is returned by a store after Close.
var ErrClosed = errors.New("store is closed")

// A DamagedError says that something on the disk is not what was written. The replica
// must not vote, attest or serve from it.
type DamagedError struct {
	// What names the damaged thing with its index: "raft log entry 12".
	What string
	// Why says what is wrong with it.
	Why string
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is damaged: %s", e.What, e.Why)
}

// A ShortenedError is the error of OpenLog when the raft log has fewer writes than
// the mark beside it remembers. badger silently drops everything after a damaged byte
// in its write-ahead file. A replica that forgot its vote, or entries that it had
// acknowledged, must not vote again.
//
// Every write counts: entries, deletions, and raft's own variables (term and vote).
// The mark is written after each of them. So any loss is noticed after a crash or
// kill of the process. The mark itself is synced only at open, at close and every 256
// writes. After a power cut it may be as old as its last sync, or as the system's own
// write-back (some 30 seconds on Linux).
//
// Two losses are not noticed. One is a loss of only the newest writes at a power cut,
// when the mark is older than they are and the disk lost or damaged what badger had
// synced. The other is a directory that was put back from an earlier copy together
// with its mark.
type ShortenedError struct {
	// Have is the last index of the log as found, Want the one last written.
	Have, Want uint64
	// HaveWrites and WantWrites are the same for the number of all writes since the
	// log was made.
	HaveWrites, WantWrites uint64
}

func (e *ShortenedError) Error() string {
	return fmt.Sprintf("this replica's log lost its tail: it ends at entry %d after %d writes, but entry %d was the last after %d writes: treat it as disk loss",
		e.Have, e.HaveWrites, e.Want, e.WantWrites)
}
