package quorum

import (
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

// staging wraps the raft log. It writes the commit index beside each write of the log,
// in the same transaction, for recover. It also notes when the write under way began.
type staging struct {
	*store.Log
	raft atomic.Pointer[raft.Raft]

	full   atomic.Bool
	cut    atomic.Bool // entries were deleted, and nothing was written since
	before func()      // see Config.BeforeWrite

	mu    sync.Mutex
	since time.Time // zero: no write is under way
}

// ErrDiskFull means that this replica writes nothing any more. If the store met the
// end of the disk, the process would die (performance.md, Traps).
var ErrDiskFull = errors.New("the disk is full: free some space")

// SetDiskFull stops this node from writing its log and snapshots, or lets it write
// again. While stopped, the node does nothing that needs a write. It does not lead. As
// a follower it refuses entries, and the leader sends them again later.
func (n *Node) SetDiskFull(full bool) { n.disk.full.Store(full) }

// guarded writes no snapshot onto a full disk, neither its own nor one from the
// leader.
type guarded struct {
	raft.SnapshotStore
	disk *staging
}

func (g *guarded) Create(v raft.SnapshotVersion, index, term uint64, c raft.Configuration, ci uint64, t raft.Transport) (raft.SnapshotSink, error) {
	if g.disk.full.Load() {
		return nil, ErrDiskFull
	}
	return g.SnapshotStore.Create(v, index, term, c, ci, t)
}

// StoreLog writes one entry.
func (s *staging) StoreLog(l *raft.Log) error { return s.StoreLogs([]*raft.Log{l}) }

// DeleteRange is refused on a full disk. The write after it is never refused. To
// replace a tail, raft 1.8.0 deletes it and then writes another. If that write fails,
// a follower goes on as if the tail were there, and refuses everything.
func (s *staging) DeleteRange(from, to uint64) error {
	if s.full.Load() {
		return ErrDiskFull
	}
	err := s.Log.DeleteRange(from, to)
	if err == nil {
		s.cut.Store(true)
	}
	return err
}

// StoreLogs writes entries, and beside them the commit index that raft had before.
func (s *staging) StoreLogs(logs []*raft.Log) error {
	if cut := s.cut.Swap(false); s.full.Load() && !cut {
		return ErrDiskFull
	}
	s.mark(time.Now())
	defer s.mark(time.Time{})
	if s.before != nil {
		s.before()
	}
	if r := s.raft.Load(); r != nil {
		if err := s.StageCommitIndex(r.CommitIndex()); err != nil {
			return err
		}
	}
	return s.Log.StoreLogs(logs)
}

func (s *staging) mark(t time.Time) {
	s.mu.Lock()
	s.since = t
	s.mu.Unlock()
}

// stalled is how long the write under way has taken so far.
func (s *staging) stalled() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.since.IsZero() {
		return 0
	}
	return time.Since(s.since)
}

// watch stops a replica whose disk hangs. A leader with such a disk would go on
// leading, and nothing would be recorded (libraries.md R3).
func (n *Node) watch() {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	limit := max(10*time.Second, 4*n.cfg.Timers.Election)
	for {
		select {
		case <-tick.C:
		case <-n.ctx.Done():
			return
		}
		if d := n.disk.stalled(); d > limit {
			n.fsm.halt(&HaltError{fmt.Errorf("the disk has not finished one write of the log for %s: start the replica again when it is cured", d.Round(time.Second))})
			return
		}
	}
}
