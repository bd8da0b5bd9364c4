package quorum

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/hashicorp/raft"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/store"
)

// proposal holds a caller's entries until they are in a raft entry.
type proposal struct {
	entries [][]byte
	size    int
	done    chan result // buffered
}

type result struct {
	outs []*recordv1.Outcome
	err  error
}

// stampBytes is how much an entry grows at most when it is stamped, in bytes.
const stampBytes = 32

// Propose puts entries into the ledger, in order, all in one raft entry. It returns
// the outcome of each. ErrNotLeader means that nothing was sent. ErrUnknownOutcome
// means that they may or may not reach the ledger.
func (n *Node) Propose(ctx context.Context, entries [][]byte) ([]*recordv1.Outcome, error) {
	if !n.IsLeader() {
		return nil, ErrNotLeader
	}
	p := &proposal{entries: entries, done: make(chan result, 1)}
	for _, e := range entries {
		if len(e) > ledger.MaxEntryBytes {
			return nil, fmt.Errorf("an entry has %d bytes, more than %d", len(e), ledger.MaxEntryBytes)
		}
		p.size += len(e) + stampBytes
	}
	// If its log refuses an entry, raft's leader steps down.
	if len(entries) == 0 || p.size > store.MaxEntryBytes {
		return nil, fmt.Errorf("%d entries with %d bytes at once: the most is %d: send fewer at a time", len(entries), p.size, store.MaxEntryBytes)
	}
	select {
	case n.intake <- p:
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-n.ctx.Done():
		return nil, raft.ErrRaftShutdown
	}
	select {
	case r := <-p.done:
		return r.outs, r.err
	case <-ctx.Done():
		return nil, ErrUnknownOutcome
	case <-n.ctx.Done():
		return nil, ErrUnknownOutcome
	}
}

// coalesce packs waiting proposals into one raft entry while earlier ones are under
// way. A raft entry never has more bytes than fit one synced write of the log
// (decisions.md 27).
func (n *Node) coalesce() {
	slots := make(chan struct{}, n.cfg.Timers.MaxInFlight)
	var held *proposal // taken from the queue, but too large for the last batch
	for {
		first := held
		held = nil
		if first == nil {
			select {
			case first = <-n.intake:
			case <-n.ctx.Done():
				return
			}
		}
		select {
		case slots <- struct{}{}:
		case <-n.ctx.Done():
			return
		}
		batch, size := []*proposal{first}, first.size
		for held == nil && size < n.cfg.Timers.BatchBytes {
			var p *proposal
			select {
			case p = <-n.intake:
			default:
			}
			if p == nil {
				break
			}
			if size+p.size > n.cfg.Timers.BatchBytes {
				held = p
				break
			}
			batch, size = append(batch, p), size+p.size
		}
		n.send(batch, func() { <-slots })
	}
}

// send stamps a batch and hands it to raft. Stamps never go backwards.
func (n *Node) send(batch []*proposal, free func()) {
	fail := func(err error) {
		for _, p := range batch {
			p.done <- result{err: err}
		}
		free()
	}
	n.fsm.mu.RLock()
	stamp := max(n.cfg.Now().UnixMilli(), n.lastStamp, n.fsm.state.Time)
	n.fsm.mu.RUnlock()
	n.lastStamp = stamp
	var b recordv1.Batch
	for _, p := range batch {
		for _, e := range p.entries {
			s, err := ledger.Stamp(e, stamp)
			if err != nil {
				fail(err)
				return
			}
			b.Entries = append(b.Entries, s)
		}
	}
	data, err := proto.Marshal(&b)
	if err != nil {
		fail(err)
		return
	}
	f := n.raft.Apply(data, 5*time.Second)
	n.wg.Go(func() {
		defer free()
		err := await(n.ctx, f.Error)
		var outs []*recordv1.Outcome
		ok := false
		if err == nil {
			outs, ok = f.Response().([]*recordv1.Outcome)
		}
		switch {
		case errors.Is(err, raft.ErrNotLeader), errors.Is(err, raft.ErrEnqueueTimeout), errors.Is(err, raft.ErrLeadershipTransferInProgress):
			err = ErrNotLeader
		case err != nil || !ok || len(outs) != len(b.Entries):
			err = ErrUnknownOutcome
		}
		at := 0
		for _, p := range batch {
			if err != nil {
				p.done <- result{err: err}
				continue
			}
			p.done <- result{outs: outs[at : at+len(p.entries)]}
			at += len(p.entries)
		}
	})
}
