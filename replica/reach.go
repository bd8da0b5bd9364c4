package replica

import (
	"context"
	"errors"
	"io"
	"sync"

	"github.com/hashicorp/raft"
)

// reaching is raft's transport with one change. While a yard does not answer, copies
// of entries to it wait for the next heartbeat that gets through. raft 1.8.0 alone
// counts each failed copy and then waits up to ten seconds between two tries. A yard
// whose link is back would hear heartbeats and get no entries. Heartbeats are
// unchanged, and only they decide whether a yard answers.
type reaching struct {
	transport
	ctx context.Context // ends every wait

	mu   sync.Mutex
	term uint64
	away map[raft.ServerID]chan struct{} // closed when the yard answers again
}

// transport is what raft uses of its own network transport.
type transport interface {
	raft.Transport
	raft.WithPreVote
	raft.WithClose
}

var errAway = errors.New("the yard did not answer, and does now: begin again")

func newReaching(ctx context.Context, t transport) *reaching {
	return &reaching{transport: t, ctx: ctx, away: map[raft.ServerID]chan struct{}{}}
}

func (r *reaching) AppendEntries(id raft.ServerID, target raft.ServerAddress, args *raft.AppendEntriesRequest, resp *raft.AppendEntriesResponse) error {
	r.lead(args.Term)
	if !heartbeat(args) {
		r.wait(id)
	}
	err := r.transport.AppendEntries(id, target, args, resp)
	r.note(id, args.Term, err == nil)
	return err
}

// InstallSnapshot fails after a wait, so that raft begins again: there may be a newer
// snapshot by then.
func (r *reaching) InstallSnapshot(id raft.ServerID, target raft.ServerAddress, args *raft.InstallSnapshotRequest, resp *raft.InstallSnapshotResponse, data io.Reader) error {
	r.lead(args.Term)
	if r.wait(id) {
		return errAway
	}
	err := r.transport.InstallSnapshot(id, target, args, resp, data)
	r.note(id, args.Term, err == nil)
	return err
}

// heartbeat tells heartbeats from copies in the same way as raft's own transport.
func heartbeat(a *raft.AppendEntriesRequest) bool {
	return a.PrevLogEntry == 0 && a.PrevLogTerm == 0 && len(a.Entries) == 0 && a.LeaderCommitIndex == 0
}

// lead ends the waits of an earlier term: that leadership is over.
func (r *reaching) lead(term uint64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if term <= r.term {
		return
	}
	r.term = term
	for id := range r.away {
		r.back(id)
	}
}

func (r *reaching) back(id raft.ServerID) {
	if ch := r.away[id]; ch != nil {
		close(ch)
		delete(r.away, id)
	}
}

// note remembers whether a yard answered in the present term.
func (r *reaching) note(id raft.ServerID, term uint64, answered bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case term != r.term:
	case answered:
		r.back(id)
	case r.away[id] == nil:
		r.away[id] = make(chan struct{})
	}
}

// wait waits until a yard answers again, and reports whether it had to wait.
func (r *reaching) wait(id raft.ServerID) (waited bool) {
	r.mu.Lock()
	ch := r.away[id]
	r.mu.Unlock()
	if ch == nil {
		return false
	}
	select {
	case <-ch:
	case <-r.ctx.Done():
	}
	return true
}
