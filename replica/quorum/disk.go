package quorum

import (
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

// staging notes the commit index beside each write of the log, in the same
// transaction, for recover; and since when a write has been under way.
type staging struct {
	*store.Log
	raft atomic.Pointer[raft.Raft]

	mu    sync.Mutex
	since time.Time // zero: no write is under way
}

// StoreLog writes one entry.
func (s *staging) StoreLog(l *raft.Log) error { return s.StoreLogs([]*raft.Log{l}) }

// StoreLogs writes entries, and how far raft had committed before them.
func (s *staging) StoreLogs(logs []*raft.Log) error {
	s.mark(time.Now())
	defer s.mark(time.Time{})
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

// stalled is for how long the write under way has been.
func (s *staging) stalled() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.since.IsZero() {
		return 0
	}
	return time.Since(s.since)
}

// watch stops a replica whose disk hangs: as a leader it would go on leading, and
// nothing would be recorded (libraries.md R3).
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
