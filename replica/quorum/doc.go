// Package quorum orders entries by consensus and applies them. It is the thin layer
// between hashicorp/raft and the pure ledger.
//
// A Node owns the ledger state in memory, and the raft log and the history on disk.
// Only this package and the journal know raft indexes. Everything above speaks of
// ledger indexes (leaf numbers, from 0).
//
// # Traps of raft 1.8.0
//
// With RestoreCommittedLogs, raft looks for configurations only above the entries
// that it replayed. A restarted replica then knows no voters. So recover.go does the
// replay, and staging keeps the commit index beside each write of the log.
//
// A follower that deletes a tail of its log, and then fails to write the new one,
// refuses everything until a restart. So on a full disk disk.go refuses the
// deletion, and never the write after a deletion.
//
// raft also installs a snapshot of entries that a follower has already. It then drops
// the later entries that the follower acknowledged, and dies when it needs the next
// one. A seeded scenario shows it (seed 1227). So retain.go answers such a snapshot
// itself, and lets the log go on behind it.
//
// After a snapshot raft drops entries from its log. If the history still lacks these
// entries, this may be their only copy. Three such replicas lose history for good
// (seed 150). So snapshot.go takes no snapshot while the history is behind.
//
// When raft stops, it never answers some callers: those that wait for a leadership
// transfer or for a read. So wait for the outcome instead, and not for ever.
//
// raft's Applied counts the entries that were handed over, not those that were
// applied. raft's own entries (no-ops, barriers, configurations) never reach the
// state. So ask the state itself: WaitApplied.
package quorum

import (
	"errors"
	"fmt"
	"time"

	"github.com/hashicorp/raft"
)

// ErrNotLeader means that another replica leads; Leader names it.
var ErrNotLeader = errors.New("this replica does not lead")

// ErrNoQuorum means that too few yards answer. Nothing can be approved.
var ErrNoQuorum = errors.New("no quorum: too few yards answer")

// ErrUnknownOutcome means that an entry may or may not reach the ledger.
var ErrUnknownOutcome = errors.New("no answer in time: the record may or may not be in the ledger")

// Timers are raft's times. All replicas of a ledger use the same profile. Longer times
// cost less idle traffic, but a new leader takes longer to be found.
type Timers struct {
	Name                                     string
	Heartbeat, Election, Lease, Commit, Dial time.Duration
	// SnapshotEvery is how often raft checks whether SnapshotThreshold entries came
	// since the last snapshot. It is short, so that a replica that never stays up for
	// long still takes a snapshot. Without one, each restart replays more than the
	// restart before.
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

// config turns timers into raft's own configuration. It sets every field on purpose.
func (t Timers) config(id raft.ServerID) *raft.Config {
	c := raft.DefaultConfig()
	c.LocalID = id
	c.HeartbeatTimeout, c.ElectionTimeout, c.LeaderLeaseTimeout = t.Heartbeat, t.Election, t.Lease
	c.CommitTimeout = t.Commit
	c.MaxAppendEntries = t.MaxAppendEntries
	c.BatchApplyCh = false
	c.ShutdownOnRemove = false
	c.SnapshotInterval, c.SnapshotThreshold, c.TrailingLogs = t.SnapshotEvery, t.SnapshotThreshold, t.TrailingLogs
	// recover.go does both. When raft 1.8.0 replays committed entries itself, it
	// forgets the configurations among them.
	c.NoSnapshotRestoreOnStart, c.RestoreCommittedLogs = true, false
	c.NoLegacyTelemetry = true
	return c
}

// HaltError stops the whole replica: it can't apply an entry and must not skip it, or
// a store failed.
type HaltError struct{ Err error }

func (e *HaltError) Error() string { return fmt.Sprintf("this replica stops: %v", e.Err) }
func (e *HaltError) Unwrap() error { return e.Err }
