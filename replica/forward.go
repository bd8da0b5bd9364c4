package replica

import (
	"context"
	"time"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/replica/yard"
)

// forwardPause is the wait after a failed try.
const forwardPause = 100 * time.Millisecond

// run forwards the journal, and reacts to every change of the state.
func (d *driver) run() {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-d.r.ctx.Done():
			return
		case <-d.wake:
		case <-tick.C:
		}
		for more := true; more && d.r.ctx.Err() == nil; {
			ctx, cancel := context.WithTimeout(d.r.ctx, 10*time.Second)
			var err error
			if more, err = d.forward(ctx); err != nil {
				d.r.log.Debug("the journal is not forwarded yet", "err", err)
				more = rest(d.r.ctx, forwardPause) == nil && d.r.node.LeaderYard() != ""
			}
			cancel()
		}
		d.compact()
	}
}

// forward sends the next records that the ledger lacks. more is true when there may be
// more to send. After a lost answer, and after a start, it first waits until this
// replica's state is known to be current. Records that reached the ledger without an
// answer then show in the state, and are not sent twice.
func (d *driver) forward(ctx context.Context) (more bool, err error) {
	pending, err := d.pending()
	if err != nil || len(pending) == 0 {
		return false, err
	}
	if d.unsure {
		if err := d.r.confirmOnce(ctx); err != nil {
			return false, err
		}
		d.unsure, d.sent = false, 0
		return true, nil
	}
	entries := d.pack(pending)
	outs, err := d.r.proposeOnce(ctx, entries)
	if err != nil || len(outs) != len(entries) {
		d.unsure = true
		return false, err
	}
	for i, o := range outs {
		if o.GetRef() == "" || code.Has(o.GetConditions(), ledger.SeqGap) {
			d.unsure = true
			return true, nil
		}
		d.sent = pending[i].Envelope.GetSeq()
		for _, c := range o.GetConditions() {
			if code.Is(c, notTaken...) {
				d.r.log.Error("the ledger does not take this yard's journal", "why", code.Brief(c))
				return false, nil
			}
		}
	}
	return true, nil
}

// notTaken are the refusals that concern the journal as a whole. Sending it again at
// once is no use.
var notTaken = []code.Code{ledger.ClonedJournal, ledger.YardStopped, ledger.OtherReplica, ledger.OldEpoch, ledger.EpochAhead, ledger.JournalOfOtherLedger}

// pending lists the records that were not sent yet. It is empty while the ledger has
// stopped this yard.
func (d *driver) pending() ([]yard.Record, error) {
	var pending []yard.Record
	_, err := d.step(func(s *ledger.State, _ int64) (yard.Effects, error) {
		if y := s.Yards[d.r.set.Yard]; y != nil && !y.Cloned {
			pending = d.y.Pending()
		}
		return yard.Effects{}, nil
	})
	for len(pending) > 0 && pending[0].Envelope.GetSeq() <= d.sent {
		pending = pending[1:]
	}
	return pending, err
}

// undrained counts the records that the ledger does not have.
func (d *driver) undrained() (n int) {
	d.step(func(*ledger.State, int64) (yard.Effects, error) {
		n = len(d.y.Pending())
		return yard.Effects{}, nil
	})
	return n
}

// forwardAtOnce is how many records go in one proposal at most. Other yards' writes
// wait for the proposal before them. On a busy machine they waited 8 and 20 ms with 64
// records, and 20 and 41 ms with 256, at the same processor time (BenchmarkDrain).
const forwardAtOnce = 64

// pack takes as many records as fit one proposal.
func (d *driver) pack(pending []yard.Record) [][]byte {
	var entries [][]byte
	size := 0
	for _, p := range pending {
		if len(entries) == forwardAtOnce || size > 0 && size+len(p.Sealed) > d.r.timers.BatchBytes {
			break
		}
		entries = append(entries, ledger.JournalEntry(p.Sealed))
		size += len(p.Sealed)
	}
	return entries
}
