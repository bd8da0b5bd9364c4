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
// raft 1.8.0 installs any snapshot that a leader sends. It sets the state back to
// the snapshot. With a monotonic log it drops all entries, also the later ones that
// it has acknowledged. The next commit then finds no entry, and the process dies.
// A leader sends an outdated snapshot after answers were lost or a disk was full.
// The Raft paper asks a follower to keep the entries after the snapshot and to reply
// (Ongaro and Ousterhout 2014, extended version, figure 13, receiver step 6).
//
// After that, the leader sends entries that follow on the snapshot. This follower's
// log may begin later, because it was cut behind a snapshot of its own. raft would
// refuse the entries, and the leader would send the same snapshot for ever. What was
// applied here is committed, so the leader has the same entries (figure 3, Leader
// Completeness). So the part up to there is taken as matching.
type retaining struct {
	transport
	out chan raft.RPC
	// over is the last index of a snapshot that was passed on to raft although the log
	// went beyond it, 0 for none. Only retain uses it.
	over uint64
}

// Consumer gives raft the calls that retain passes on.
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

// answered replies itself to a snapshot whose entries this replica has. It also
// refuses to install one from a later term. The leader's next heartbeat then brings
// the term, and the leader tries again.
func (n *Node) answered(rpc raft.RPC, q *raft.InstallSnapshotRequest) bool {
	term := n.raft.CurrentTerm()
	if q.Term < term || !n.holds(q.LastLogIndex, q.LastLogTerm) {
		return false
	}
	n.cfg.Logger.Info("a snapshot of entries that are here is not installed", "index", q.LastLogIndex)
	if rpc.Reader != nil {
		_, _ = io.Copy(io.Discard, rpc.Reader) // the stream goes on after the snapshot
	}
	rpc.Respond(&raft.InstallSnapshotResponse{RPCHeader: raft.RPCHeader{ProtocolVersion: raft.ProtocolVersionMax,
		ID: []byte(n.cfg.ID), Addr: n.cfg.Transport.EncodePeer(raft.ServerID(n.cfg.ID), raft.ServerAddress(n.cfg.Yard))}, Term: term, Success: q.Term == term}, nil)
	return true
}

// holds reports whether this replica has everything up to an entry: it is committed
// here, or it is in the log.
func (n *Node) holds(index, term uint64) bool {
	var l raft.Log
	return index <= n.raft.AppliedIndex() || n.cfg.Log.GetLog(index, &l) == nil && l.Term == term
}

// tailForgotten reports whether raft installed a snapshot in place of a longer log.
// raft 1.8.0 then drops the log but goes on counting its last entry as present (part
// of its issue 697). It looks for every entry up to there and finds none.
func (n *Node) tailForgotten(t *retaining) bool {
	if t.over == 0 || n.raft.AppliedIndex() < t.over {
		return false // not installed yet, or never
	}
	last := n.raft.LastIndex()
	has, err := n.cfg.Log.LastIndex()
	return err == nil && has < last && n.raft.AppliedIndex() < last
}

// within removes entries from a call that were applied here and are no longer in the
// log. It also keeps the call from committing more than the call shows to match. By
// the paper the limit is the last new entry (figure 2, AppendEntries, receiver step
// 5). raft 1.8.0 takes the end of the follower's own log instead. That log may have a
// tail that the leader is about to delete.
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
	short.PrevLogEntry, short.PrevLogTerm = 0, 0 // so that raft compares nothing before them
	for len(short.Entries) > 0 && gone(short.Entries[0].Index) {
		short.Entries = short.Entries[1:]
	}
	return &short
}
