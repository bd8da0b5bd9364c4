package replica

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/ledger"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// compareEvery is how often this replica compares roots with another. It is often
// enough to notice a divergence within minutes, and seldom enough for a metered link.
func (r *Replica) compareEvery() time.Duration { return 10 * r.timers.Election }

// compareRoots compares with the other yards in turn. When a divergence is noticed, it
// tells all of them at once.
func (r *Replica) compareRoots() {
	tick := time.NewTicker(r.compareEvery())
	defer tick.Stop()
	for turn := 0; ; {
		var ask []string
		select {
		case <-r.ctx.Done():
			return
		case <-r.tell:
			ask = r.others()
		case <-tick.C:
			r.keepEvidence()
			if all := r.others(); len(all) > 0 {
				ask = []string{all[turn%len(all)]}
				turn++
			}
		}
		for _, y := range ask {
			if err := r.compareWith(r.ctx, y); err != nil && r.ctx.Err() == nil {
				r.log.Debug("roots not compared", "yard", y, "err", err)
			}
		}
	}
}

// others lists the other yards of the ledger.
func (r *Replica) others() (out []string) {
	r.node.View(func(s *ledger.State, _ uint64) {
		for _, y := range sortedYards(s) {
			if y != r.set.Yard {
				out = append(out, y)
			}
		}
	})
	return out
}

// newest gives the size of this replica's state, its root and its checkpoint.
func (r *Replica) newest() (size uint64, root [32]byte, text string, err error) {
	r.node.View(func(s *ledger.State, _ uint64) { size = s.Size() })
	root, ok := r.rootAt(size)
	if !ok {
		return 0, root, "", errors.New("this replica has no entries yet")
	}
	text, err = r.sign(size, root)
	return size, root, text, err
}

// compareWith shows this replica's checkpoint to another, and compares the answer with
// what is here.
func (r *Replica) compareWith(ctx context.Context, yard string) error {
	size, root, text, err := r.newest()
	if err != nil {
		return err
	}
	c, err := r.peers.conn(yard)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, r.timers.Dial)
	defer cancel()
	res, err := servicev1.NewPeerServiceClient(c).CompareRoot(ctx,
		&servicev1.CompareRootRequest{Size: size, Root: root[:], Note: text, Divergences: r.shown()})
	if err != nil {
		return err
	}
	r.take(yard, res.GetDivergences())
	if err := r.judge(yard, res.GetSize(), res.GetRoot(), res.GetNote()); err != nil {
		return err
	}
	r.log.Debug("roots compared", "with", yard, "size", res.GetSize())
	return nil
}

// judge verifies the checkpoint of a yard, and compares it.
func (r *Replica) judge(yard string, size uint64, root []byte, text string) error {
	signed, signedRoot, err := r.verified(yard, text)
	if err == nil && (signed != size || !bytes.Equal(signedRoot[:], root)) {
		err = fmt.Errorf("it says %d entries and signed %d, or signed another root than it says", size, signed)
	}
	if err != nil {
		r.log.Warn("a yard's checkpoint is ignored", "yard", yard, "err", err)
		return err
	}
	return r.compare(yard, size, signedRoot, text)
}

// CompareRoot compares the caller's checkpoint with what this replica has. It answers
// with its own checkpoint, of the same size if it can.
func (p *peerServer) CompareRoot(ctx context.Context, q *servicev1.CompareRootRequest) (*servicev1.CompareRootResponse, error) {
	r, yard := p.r, callerOf(ctx).yard
	if yard == r.set.Yard {
		return nil, status.Error(codes.InvalidArgument, "a replica compares with others only")
	}
	r.take(yard, q.GetDivergences())
	if err := r.judge(yard, q.GetSize(), q.GetRoot(), q.GetNote()); err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	size := q.GetSize()
	root, ok := r.rootAt(size)
	text, err := "", error(nil)
	if ok {
		text, err = r.sign(size, root)
	} else {
		size, root, text, err = r.newest()
	}
	if err != nil {
		return nil, status.Error(codes.Unavailable, err.Error())
	}
	return &servicev1.CompareRootResponse{Size: size, Root: root[:], Note: text, Divergences: r.shown()}, nil
}
