// Package quorum orders entries by consensus and applies them: the thin layer
// between hashicorp/raft and the pure ledger.
//
// A Node owns the ledger state in memory, the raft log and the history on disk.
// Only this package and the journal know raft indexes; everything above speaks
// of ledger indexes (leaf numbers, from 0).
//
// # Traps of raft 1.8.0
//
// With RestoreCommittedLogs raft scans for configurations only above what it
// replayed, so that a restarted replica knows no voters. recover.go replays instead,
// and staging keeps the commit index beside each write of the log.
//
// A follower whose write fails after it cut off a tail refuses everything until a
// restart. On a full disk disk.go refuses the cut, and never the write after a cut.
//
// raft installs a snapshot of entries that a follower has already, and drops what
// the follower acknowledged since. Then it dies for want of the next entry. A seeded
// scenario found it (seed 1227). retain.go answers such a snapshot and goes on behind it.
//
// A snapshot taken while the history is still being fetched lets raft drop the only
// copy of entries: three such replicas lost history for good (seed 150). snapshot.go
// takes none while the history is behind.
//
// When raft stops it forgets whoever waits for a leadership transfer or for a read.
// Wait for the outcome instead, and not for ever.
//
// raft's Applied counts what was handed over and not what was applied, and raft's
// own entries (no-ops, barriers, configurations) never reach the state. Ask the
// state itself: WaitApplied.
package quorum

import (
	"errors"
	"fmt"
	"time"

	"github.com/hashicorp/raft"
)

// ErrNotLeader means that another replica leads; Leader names it.
var ErrNotLeader = errors.New("this replica does not lead")

// ErrNoQuorum means that too few yards answer: nothing can be approved.
var ErrNoQuorum = errors.New("no quorum: too few yards answer")

// ErrUnknownOutcome means that an entry may or may not reach the ledger.
var ErrUnknownOutcome = errors.New("no answer in time: the record may or may not be in the ledger")

// Timers are raft's times. All replicas of a ledger use the same profile: idle
// traffic trades directly against the time a new leader takes.
type Timers struct {
	Name                                     string
	Heartbeat, Election, Lease, Commit, Dial time.Duration
	// SnapshotEvery is how often raft looks whether SnapshotThreshold entries came
	// since the last snapshot. Short, so that a replica that never stays up for long
	// still takes one: without it, each restart replays more than the one before.
	SnapshotEvery                             time.Duration
	MaxAppendEntries, MaxInFlight, BatchBytes int
	TrailingLogs, SnapshotThreshold           uint64
}

// Profiles are the named sets of timers.
var Profiles = map[string]Timers{
	// lan: yards on a good link.
	"lan": {Name: "lan", Heartbeat: 500 * time.Millisecond, Election: 500 * time.Millisecond, Lease: 400 * time.Millisecond,
		Commit: 50 * time.Millisecond, Dial: 5 * time.Second, SnapshotEvery: 2 * time.Second,
		MaxAppendEntries: 512, MaxInFlight: 2, BatchBytes: 512 << 10, TrailingLogs: 20000, SnapshotThreshold: 4096},
	// rural: a slow, metered link.
	"rural": {Name: "rural", Heartbeat: 5 * time.Second, Election: 5 * time.Second, Lease: 2500 * time.Millisecond,
		Commit: time.Second, Dial: 10 * time.Second, SnapshotEvery: 15 * time.Second,
		MaxAppendEntries: 64, MaxInFlight: 16, BatchBytes: 32 << 10, TrailingLogs: 20000, SnapshotThreshold: 4096},
}

// config turns timers into raft's own configuration, every field on purpose.
func (t Timers) config(id raft.ServerID) *raft.Config {
	c := raft.DefaultConfig()
	c.LocalID = id
	c.HeartbeatTimeout, c.ElectionTimeout, c.LeaderLeaseTimeout = t.Heartbeat, t.Election, t.Lease
	c.CommitTimeout = t.Commit
	c.MaxAppendEntries = t.MaxAppendEntries
	c.BatchApplyCh = false
	c.ShutdownOnRemove = false
	c.SnapshotInterval, c.SnapshotThreshold, c.TrailingLogs = t.SnapshotEvery, t.SnapshotThreshold, t.TrailingLogs
	// recover.go does both: raft 1.8.0's own replay of committed entries forgets
	// the configurations among them.
	c.NoSnapshotRestoreOnStart, c.RestoreCommittedLogs = true, false
	c.NoLegacyTelemetry = true
	return c
}

// HaltError stops the whole replica: an entry it must not skip, or a store that
// failed.
type HaltError struct{ Err error }

func (e *HaltError) Error() string { return fmt.Sprintf("this replica stops: %v", e.Err) }
func (e *HaltError) Unwrap() error { return e.Err }
