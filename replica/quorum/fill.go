package quorum

import (
	"fmt"
	"time"

	"yardhasp/ledger"
	"yardhasp/replica/store"
)

// fill brings back the entries that an installed snapshot skipped, from another
// replica, and checks them against the root in the state. Until then the replica
// votes, attests and serves its state (decisions.md 26).
func (n *Node) fill() {
	tick := time.NewTicker(2 * time.Second)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
		case <-n.ctx.Done():
			return
		}
		if !n.fsm.behind.Load() || n.cfg.Fetch == nil {
			continue
		}
		if err := n.fillOnce(); err != nil && n.ctx.Err() == nil {
			n.cfg.Logger.Warn("the history before the snapshot can't be fetched yet", "err", err)
		}
	}
}

func (n *Node) fillOnce() error {
	n.fsm.mu.RLock()
	size, root := n.fsm.state.Size(), n.fsm.state.Root()
	n.fsm.mu.RUnlock()
	from := n.cfg.History.Size()
	var batch []store.Item
	flush := func() error {
		err := n.cfg.History.Append(batch)
		batch = batch[:0]
		return err
	}
	err := n.cfg.Fetch(n.ctx, from, size, func(index uint64, entry []byte) error {
		e, err := ledger.Decode(entry)
		if err != nil {
			return err
		}
		ref := TicketRef(e)
		if env := e.Envelope(); env != nil {
			ref = ledger.Ref(env.GetYard(), env.GetEpoch(), env.GetSeq())
		}
		batch = append(batch, store.Item{Index: index, Entry: entry, Ref: ref})
		if len(batch) >= 256 {
			return flush()
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := flush(); err != nil {
		return err
	}
	got, err := n.cfg.History.TreeHash(size)
	if err != nil {
		return err
	}
	if got != root {
		return fmt.Errorf("entries %d to %d from the other replica do not give the root this replica has", from, size)
	}
	n.fsm.mu.RLock()
	defer n.fsm.mu.RUnlock()
	// Under the lock no entry is applied: the switch to direct appends is clean
	// only if nothing came meanwhile.
	n.fsm.behind.Store(n.cfg.History.Size() < n.fsm.state.Size())
	return nil
}
