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
// A directory is held by one process; a second one gets [ErrDirInUse]. Each
// database carries a number of ours, so that one of another program, or of
// another format version, is refused with [ErrForeign].
//
// # What a sync is
//
// badger can sync each write itself, but then syncs twice: its memtable's
// write-ahead file, and a value log that holds nothing of ours, since every
// value stays under badger's value threshold. So badger's own syncing is off
// and this package calls fdatasync on the write-ahead file (NNNNN.mem) after
// each transaction of the raft log and before answering: one sync a write. It
// also syncs the directory when badger begins a new file, and syncs files that
// badger has put aside but not yet flushed, which badger's Sync leaves out.
//
// # What is noticed
//
// Each value carries a CRC-32C over its key and itself; a value that does not
// match is a [DamagedError]. A raft log whose end is missing is a
// [ShortenedError]: see there for what it can and cannot notice. badger's table
// files are looked at before badger opens them, those of the raft log block by
// block; [History.Verify] does the same for the history, which may be large.
//
// # Traps of badger 4.9.6
//
//   - With SyncWrites every call syncs twice. This package syncs the write-ahead
//     file itself, once (wal.go).
//   - With OnTableAndBlockRead one flipped byte kills the process inside badger.
//     Blocks are verified when they are read instead (badger.go).
//   - A table that was cut short kills the process. Tables that MANIFEST does not
//     name are deleted. For a key in a damaged block the answer is "no such key".
//     tables.go looks first.
package store

import (
	"errors"
	"fmt"
)

// ErrDirInUse is matched when another process, or another store of this one,
// holds the data directory.
var ErrDirInUse = errors.New("data directory is in use")

// ErrForeign is matched when a directory holds a database that is not ours, or
// of another format version.
var ErrForeign = errors.New("not a database of this program and format")

// ErrClosed is returned by a store after Close.
var ErrClosed = errors.New("store is closed")

// A DamagedError says that something read back from disk is not what was
// written. The replica must not vote, attest or serve from it.
type DamagedError struct {
	// What names the thing, with its index: "raft log entry 12".
	What string
	// Why says what is wrong with it.
	Why string
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is damaged: %s", e.What, e.Why)
}

// A ShortenedError is OpenLog's answer when the raft log has fewer writes than
// the mark beside it remembers. badger drops everything behind a damaged byte
// in its write-ahead file without a word; a replica that forgot its vote or
// entries it had acknowledged must not vote again.
//
// Every write counts: entries, deletions, and raft's own variables (term and
// vote). The mark is written after each of them, so that after a crash or kill
// of the process any loss is noticed. It is itself synced only at open, at
// close and every 256 writes. After a power cut it may therefore be as old as
// the last of these, or as the system's own write-back (some 30 seconds on
// Linux): then a loss of only the newest writes, which badger had synced and
// the disk lost or damaged all the same, is not noticed. Nor is a directory put
// back from an older copy together with its mark.
type ShortenedError struct {
	// Have and Want are the last index of the log as found, and as last written.
	Have, Want uint64
	// HaveWrites and WantWrites count all writes since the log was made.
	HaveWrites, WantWrites uint64
}

func (e *ShortenedError) Error() string {
	return fmt.Sprintf("this replica's log lost its tail: it ends at entry %d after %d writes, but entry %d was the last after %d writes: treat it as disk loss",
		e.Have, e.HaveWrites, e.Want, e.WantWrites)
}
