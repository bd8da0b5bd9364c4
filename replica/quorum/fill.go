package quorum

import (
	"errors"
	"fmt"
	"time"

	"yardhasp/ledger"
	"yardhasp/replica/store"
)

// fill fetches from another replica the entries that an installed snapshot skipped. It
// checks them against the root in the state. Meanwhile the replica votes, attests and
// serves its state (decisions.md 26).
func (n *Node) fill() {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
		case <-n.ctx.Done():
			return
		}
		// New entries are applied meanwhile. Each round has fewer left to fetch.
		for n.fsm.behind.Load() && n.cfg.Fetch != nil && n.fault.Load() == nil && n.ctx.Err() == nil {
			if err := n.fillOnce(); err != nil {
				why := err.Error()
				n.unfilled.Store(&why)
				if n.ctx.Err() == nil {
					n.cfg.Logger.Warn("the history before the snapshot can't be fetched yet", "err", err)
				}
				break
			}
		}
	}
}

// Unfilled says why the last try to fetch the history failed, "" when it did not.
func (n *Node) Unfilled() string {
	if why := n.unfilled.Load(); why != nil {
		return *why
	}
	return ""
}

func (n *Node) fillOnce() error {
	n.fsm.mu.RLock()
	size, root := n.fsm.state.Size(), n.fsm.state.Root()
	n.fsm.mu.RUnlock()
	h := n.cfg.History
	if err := n.fetchTo(size); err != nil {
		return err
	}
	got, err := h.TreeHash(size)
	if err != nil {
		return err
	}
	if got != root {
		why := fmt.Sprintf("the history up to entry %d does not give the root that this replica's state has: do not rely on its exports; stop it and look at it with yardhaspd repair", size)
		n.fault.Store(&why)
		return errors.New(why)
	}
	return n.fsm.catchUp()
}

// fetchTo appends entries that another yard has, until there are size entries. What
// was appended before an error stays.
func (n *Node) fetchTo(size uint64) error {
	h := n.cfg.History
	next := h.Size()
	if next >= size {
		return nil
	}
	var batch []store.Item
	flush := func() error {
		err := h.Append(batch)
		batch = batch[:0]
		return err
	}
	err := n.cfg.Fetch(n.ctx, next, size, func(index uint64, entry []byte) error {
		if index < next {
			return nil // another yard begins where this one broke off
		}
		e, err := ledger.Decode(entry)
		if err != nil {
			return err
		}
		it := store.Item{Index: index, Entry: entry}
		if e.Envelope() == nil {
			it.Ref = TicketRef(e)
		}
		batch, next = append(batch, it), index+1
		if len(batch) >= 256 {
			return flush()
		}
		return nil
	})
	return errors.Join(err, flush())
}
