package replica

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/yard"
)

// driver owns the yard's journal. It runs the pure steps of package yard one at a
// time. It makes their effects durable before it answers anybody. It forwards the
// journal in order until the ledger has it.
type driver struct {
	r    *Replica
	mu   sync.Mutex // one step at a time
	y    *yard.Yard
	file *yard.File
	base uint64 // raft index that the last record on disk rests on
	wake chan struct{}

	// Only run uses these two. sent is the seq up to which the leader has answered.
	// unsure is true after an answer may have been lost: the ledger may have more of
	// the journal than this replica knows.
	sent   uint64
	unsure bool
}

func openDriver(r *Replica) (*driver, error) {
	d := &driver{r: r, wake: make(chan struct{}, 1), unsure: true}
	dir := filepath.Join(r.dir, "journal")
	h := yard.Header{Ledger: r.ledgerID(), Yard: r.set.Yard, Epoch: 1, Incarnation: seal.Fingerprint(r.key.Public().(ed25519.PublicKey))}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	var records []yard.Record
	_, err := os.Stat(filepath.Join(dir, "journal"))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		// If a tail mark says that a journal was lost here, Create refuses.
		d.file, err = yard.Create(dir, h)
	case err == nil:
		h.Epoch = 0 // any epoch: the ledger says whether it is the right one
		d.file, records, err = yard.Open(dir, h)
	}
	if err != nil {
		return nil, err
	}
	run := make([]byte, 8)
	if _, err := rand.Read(run); err != nil {
		return nil, errors.Join(err, d.file.Close())
	}
	head := d.file.Header()
	d.base = head.Floor(records)
	d.y, err = yard.New(d.file.Header(), r.key, records, hex.EncodeToString(run))
	if err != nil {
		return nil, errors.Join(err, d.file.Close())
	}
	return d, nil
}

func (d *driver) floor() uint64 { return d.base }

func (d *driver) close() error { return d.file.Close() }

// poke wakes the forwarder. It never blocks.
func (d *driver) poke() {
	select {
	case d.wake <- struct{}{}:
	default:
	}
}

// step shows the yard the newest state and runs fn on it. Before it returns, it makes
// every effect durable, in order.
func (d *driver) step(fn func(s *ledger.State, now int64) (yard.Effects, error)) (*yard.Reply, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.r.now().UnixMilli()
	var shown, own yard.Effects
	err := d.beginEpoch()
	if err != nil {
		return nil, d.broken(err)
	}
	d.y.Diverged(d.r.divergence())
	d.y.Suspend(d.r.disk.mustNotWrite())
	d.r.node.View(func(s *ledger.State, raftIndex uint64) {
		shown = d.y.View(s, raftIndex, now)
		if fn != nil {
			own, err = fn(s, now)
		}
	})
	all := append(shown.Append, own.Append...)
	if len(all) > 0 {
		if werr := d.file.Append(all...); werr != nil {
			d.r.log.Error("the journal can't be written", "err", werr)
			return nil, d.broken(werr)
		}
		d.y.Appended(all[len(all)-1].Envelope.GetSeq())
		d.poke()
	}
	return own.Reply, err
}

// broken takes the yard out of service until a restart, and logs it. The caller holds
// d.mu.
func (d *driver) broken(err error) error {
	d.y.Broken(err.Error())
	_, why := d.y.Serving()
	return &yard.NotServing{Because: why}
}

// capture writes one signed record into the journal.
func (d *driver) capture(e *ledger.Entry, run string) (*yard.Reply, error) {
	return d.step(func(_ *ledger.State, now int64) (yard.Effects, error) { return d.y.Capture(e, now, run) })
}

// panel shows a point to the person at its panel.
func (d *driver) panel(point string) (v yard.PanelView) {
	_, err := d.step(func(*ledger.State, int64) (yard.Effects, error) {
		v = d.y.Panel(point)
		return yard.Effects{}, nil
	})
	if err != nil {
		return yard.PanelView{Against: []*recordv1.Finding{yard.OutOfService.About(d.r.set.Yard, d.r.set.Yard, whyOut(err))}}
	}
	return v
}

// ticket finds the record of this yard's journal that has a ticket.
func (d *driver) ticket(key []byte, t *recordv1.Ticket) (reply *yard.Reply, err error) {
	return d.step(func(*ledger.State, int64) (yard.Effects, error) {
		seq, found := d.y.FindTicket(key, t)
		if !found {
			return yard.Effects{}, nil
		}
		r, _, err := d.y.Receipt(seq)
		return yard.Effects{Reply: &r}, err
	})
}

// serving reports whether the yard may promise, and if not, why.
func (d *driver) serving() (ok bool, why *recordv1.Finding) {
	_, err := d.step(func(*ledger.State, int64) (yard.Effects, error) {
		ok, why = d.y.Serving()
		return yard.Effects{}, nil
	})
	if err != nil {
		return false, whyOut(err)
	}
	return ok, why
}

// whyOut is why a step failed. A step without a record fails only when the journal
// can't be written.
func whyOut(err error) *recordv1.Finding {
	var out *yard.NotServing
	if errors.As(err, &out) {
		return out.Because
	}
	return yard.JournalNotWritable.About("", "", err.Error())
}

// compact drops records that the ledger has had for long.
func (d *driver) compact() {
	if d.r.disk.mustNotWrite() != nil {
		return
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	var h yard.Header
	var keep []yard.Record
	ok := false
	now := d.r.now().UnixMilli()
	d.r.node.View(func(s *ledger.State, raftIndex uint64) {
		y := s.Yards[d.r.set.Yard]
		if y == nil || y.Drained < d.file.Header().Compacted+compactEvery {
			return
		}
		if eff := d.y.View(s, raftIndex, now); len(eff.Append) == 0 {
			h, keep, ok = d.y.Compaction(y.Drained)
		} else if err := d.file.Append(eff.Append...); err != nil {
			d.y.Broken(err.Error())
		} else {
			d.y.Appended(eff.Append[len(eff.Append)-1].Envelope.GetSeq())
		}
	})
	if !ok || h.Compacted < d.file.Header().Compacted+compactEvery/2 {
		return
	}
	if err := d.file.Compact(h, keep); err != nil {
		d.r.log.Warn("the journal can't be shortened", "err", err)
		return
	}
	d.y.Compacted(h)
}

// compactEvery is how many more records the ledger must have before records are
// dropped.
const compactEvery = 4096

// waitDrained waits until this replica's state has taken the journal up to seq.
func (d *driver) waitDrained(ctx context.Context, seq uint64) error {
	for {
		ch := d.r.node.Changed()
		done := false
		d.r.node.View(func(s *ledger.State, _ uint64) {
			y := s.Yards[d.r.set.Yard]
			done = y != nil && y.Drained >= seq
		})
		if done {
			return nil
		}
		select {
		case <-ch:
		case <-ctx.Done():
			return ctx.Err()
		case <-d.r.ctx.Done():
			return fmt.Errorf("this replica is stopping")
		}
	}
}

// HeldHere: while the record stands, nobody gets permission to switch these points on.
var HeldHere = code.New("HELD_HERE", code.Row{Args: "points"})

// written lists, for the board, the records that only this yard has.
func (d *driver) written() (out []*recordv1.WrittenView) {
	d.step(func(*ledger.State, int64) (yard.Effects, error) {
		for _, w := range d.y.Written() {
			v := &recordv1.WrittenView{Ref: w.Ref, Kind: w.Kind, Signer: w.Signer, About: w.About, SinceUnixMs: w.At}
			if len(w.Promised) > 0 {
				v.Worth = HeldHere.About(w.Ref, w.Promised)
			}
			out = append(out, v)
		}
		return yard.Effects{}, nil
	})
	return out
}

// caveat says what a lock of the journal must not be taken for, nil when there is no
// such danger.
func (d *driver) caveat(seq uint64) *recordv1.Finding {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.y.Caveat(seq)
}

// about names the act of a record of the journal, and what the lock hangs on.
func (d *driver) about(seq uint64) (kind, target string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.y.About(seq)
}
