package quorum

import (
	"errors"
	"io"

	"github.com/hashicorp/raft"
)

// transport is what raft uses of a network transport.
type transport interface {
	raft.Transport
	raft.WithPreVote
	raft.WithClose
}

// retaining is the transport of a follower that keeps what it acknowledged.
//
// raft 1.8.0 installs any snapshot that it is sent, puts the state back to it, and
// with a monotonic log drops all entries, those too that it acknowledged since; the
// next commit then finds no entry, and the process dies. A leader sends an old one
// after answers were lost or a disk was full. The Raft paper keeps what follows and
// replies (Ongaro and Ousterhout 2014, extended version, figure 13, receiver step 6).
//
// After that the leader goes on with entries that begin where this log, cut off
// behind a snapshot, no longer reaches; raft would refuse them and be sent the same
// snapshot for ever. What was applied is committed, so the leader has the same
// (figure 3, Leader Completeness): the part up to there is taken as matching.
type retaining struct {
	transport
	out chan raft.RPC
	// over is where the last snapshot ended that was passed on while the log went
	// beyond it; 0: none. Used by retain alone.
	over uint64
}

// Consumer gives raft the calls that are left for it.
func (t *retaining) Consumer() <-chan raft.RPC { return t.out }

// retain passes calls on until the node closes.
func (n *Node) retain(t *retaining) {
	in := t.transport.Consumer()
	for {
		select {
		case rpc := <-in:
			if n.tailForgotten(t) {
				n.fsm.giveUp(errors.New("its log went beyond a snapshot that replaced it, and raft takes no entry until it is opened again: start the replica again"))
				return
			}
			switch q := rpc.Command.(type) {
			case *raft.InstallSnapshotRequest:
				if n.answered(rpc, q) {
					continue
				}
				if n.raft.LastIndex() > q.LastLogIndex {
					t.over = q.LastLogIndex
				}
			case *raft.AppendEntriesRequest:
				rpc.Command = n.within(q)
			}
			select {
			case t.out <- rpc:
			case <-n.ctx.Done():
				return
			}
		case <-n.ctx.Done():
			return
		}
	}
}

// answered replies to a snapshot of what this replica has. One of a later term is
// not taken either: its leader's next heartbeat brings the term, and it tries again.
func (n *Node) answered(rpc raft.RPC, q *raft.InstallSnapshotRequest) bool {
	term := n.raft.CurrentTerm()
	if q.Term < term || !n.holds(q.LastLogIndex, q.LastLogTerm) {
		return false
	}
	n.cfg.Logger.Info("a snapshot of entries that are here is not installed", "index", q.LastLogIndex)
	if rpc.Reader != nil {
		_, _ = io.Copy(io.Discard, rpc.Reader) // the stream goes on behind it
	}
	rpc.Respond(&raft.InstallSnapshotResponse{RPCHeader: raft.RPCHeader{ProtocolVersion: raft.ProtocolVersionMax,
		ID: []byte(n.cfg.ID), Addr: n.cfg.Transport.EncodePeer(raft.ServerID(n.cfg.ID), raft.ServerAddress(n.cfg.Yard))}, Term: term, Success: q.Term == term}, nil)
	return true
}

// holds reports whether everything up to an entry is here: it is committed here, or
// the log has it.
func (n *Node) holds(index, term uint64) bool {
	var l raft.Log
	return index <= n.raft.AppliedIndex() || n.cfg.Log.GetLog(index, &l) == nil && l.Term == term
}

// tailForgotten reports whether a snapshot took the place of a longer log. raft 1.8.0
// then throws the log away and goes on counting its end as its own (another end of its
// issue 697): it looks for every entry up to there, and finds none.
func (n *Node) tailForgotten(t *retaining) bool {
	if t.over == 0 || n.raft.AppliedIndex() < t.over {
		return false // not installed, or not yet
	}
	last := n.raft.LastIndex()
	has, err := n.cfg.Log.LastIndex()
	return err == nil && has < last && n.raft.AppliedIndex() < last
}

// within leaves out of a call what was applied and is no longer in the log. And it
// lets the call commit no more than it shows to match: the paper's rule is the last
// new entry (figure 2, AppendEntries, receiver step 5), where raft 1.8.0 takes the end
// of the follower's own log, which may have a tail that the leader is about to cut off.
func (n *Node) within(q *raft.AppendEntriesRequest) *raft.AppendEntriesRequest {
	short := *q
	if shown := q.PrevLogEntry + uint64(len(q.Entries)); shown > 0 {
		short.LeaderCommitIndex = min(q.LeaderCommitIndex, shown)
	}
	applied := n.raft.AppliedIndex()
	var l raft.Log
	gone := func(index uint64) bool { return index <= applied && n.cfg.Log.GetLog(index, &l) != nil }
	if q.PrevLogEntry == 0 || !gone(q.PrevLogEntry) {
		return &short
	}
	short.PrevLogEntry, short.PrevLogTerm = 0, 0 // nothing before them is compared
	for len(short.Entries) > 0 && gone(short.Entries[0].Index) {
		short.Entries = short.Entries[1:]
	}
	return &short
}
