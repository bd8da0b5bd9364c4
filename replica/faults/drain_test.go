package faults_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"

	"yardhasp/client"
	"yardhasp/client/pin"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// ending is what each yard has once everything is mended and drained.
type ending struct {
	yards  []string
	leaves map[string][][]byte
	roots  map[string][]byte
	outs   map[string][]*recordv1.Outcome
	wrong  map[string][]*recordv1.Finding
}

// raw reaches a yard's replica past the client package, from that yard; one
// connection serves a whole scenario.
func (w *world) raw(yard string) (*grpc.ClientConn, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if c := w.raws[yard]; c != nil {
		return c, nil
	}
	i := slices.IndexFunc(w.known, func(y client.Yard) bool { return y.ID == yard })
	own := func(k []byte) bool { return bytes.Equal(k, w.known[i].Key) }
	c, err := grpc.NewClient("passthrough:///"+at(yard), grpc.WithConnectParams(grpc.ConnectParams{
		Backoff: backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1, MaxDelay: 100 * time.Millisecond}, MinConnectTimeout: time.Second}), grpc.WithTransportCredentials(credentials.NewTLS(pin.ClientConfig(testKey(manager), own, pin.ALPNClient))),
		grpc.WithContextDialer(func(ctx context.Context, a string) (net.Conn, error) { return w.net.dial(ctx, yard, a) }))
	if err == nil {
		w.raws[yard] = c
	}
	return c, err
}

// leader names the yard that leads, as the first yard that answers has it.
func (w *world) leader() string {
	for _, y := range w.all() {
		if !w.running(y) {
			continue
		}
		conn, err := w.raw(y)
		if err != nil {
			continue
		}
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		m, err := servicev1.NewMembershipServiceClient(conn).GetMembers(ctx, &servicev1.GetMembersRequest{})
		cancel()
		for _, k := range m.GetMembers() {
			if err == nil && k.GetLeader() {
				return k.GetYard()
			}
		}
	}
	return ""
}

// settle waits until every yard has the same history and every reference that
// anybody was told is in it, and reads it all.
func (w *world) settle() (*ending, error) {
	var last *ending
	var err error
	for try := 0; try < 90; try++ {
		pass(2 * time.Second)
		var e *ending
		if e, err = w.read(); err != nil {
			continue
		}
		if missing := w.missing(e); missing != "" {
			err, last = fmt.Errorf("%s is not in the ledger", missing), e
			continue
		}
		same := last != nil
		for _, y := range e.yards {
			same = same && len(e.leaves[y]) == len(e.leaves[yards[0]]) && len(last.leaves[y]) == len(e.leaves[y])
		}
		if last = e; !same {
			err = errors.New("the yards do not have the same number of entries, or still get more:")
			for _, y := range e.yards {
				err = fmt.Errorf("%w %s %d", err, y, len(e.leaves[y]))
			}
		} else {
			return e, nil
		}
	}
	return last, fmt.Errorf("three minutes after everything was mended: %w", err)
}

// missing names a reference that was told and is not in the ledger of every yard.
func (w *world) missing(e *ending) string {
	for _, y := range e.yards {
		have := map[string]bool{}
		for _, o := range e.outs[y] {
			have[o.GetRef()] = true
		}
		for _, raw := range e.leaves[y] { // what a snapshot skipped comes without its outcome
			if d, err := ledger.Decode(raw); err == nil && d.Envelope() != nil {
				have[ledger.Ref(d.Envelope().GetYard(), d.Envelope().GetEpoch(), d.Envelope().GetSeq())] = true
			}
		}
		for _, o := range w.story.ops {
			if ref := o.receipt.GetRef(); ref != "" && !have[ref] && !w.wentWith(o) {
				return ref + " (" + o.who + " " + o.what + ") at " + y
			}
		}
	}
	return ""
}

func (w *world) read() (*ending, error) {
	e := &ending{yards: w.all(), leaves: map[string][][]byte{}, roots: map[string][]byte{}, outs: map[string][]*recordv1.Outcome{}, wrong: map[string][]*recordv1.Finding{}}
	for _, y := range e.yards {
		if err := w.readYard(y, e); err != nil {
			return nil, fmt.Errorf("%s: %w", y, err)
		}
	}
	return e, nil
}

func (w *world) readYard(y string, e *ending) error {
	conn, err := w.raw(y)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	l := servicev1.NewLedgerServiceClient(conn)
	b, err := l.GetBoard(ctx, &servicev1.GetBoardRequest{Consistency: servicev1.Consistency_CONSISTENCY_CONFIRMED})
	if err != nil {
		return err
	}
	size := b.GetBoard().GetAsOf().GetSize()
	e.roots[y] = b.GetBoard().GetAsOf().GetRoot()
	m, err := servicev1.NewMembershipServiceClient(conn).GetMembers(ctx, &servicev1.GetMembersRequest{})
	if err != nil {
		return err
	}
	e.wrong[y] = m.GetWrong()
	st, err := l.Export(ctx, &servicev1.ExportRequest{To: size})
	if err != nil {
		return err
	}
	for {
		m, err := st.Recv()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		e.leaves[y] = append(e.leaves[y], m.GetEntry())
	}
	if uint64(len(e.leaves[y])) != size {
		return fmt.Errorf("%d of %d entries; it says: %v", len(e.leaves[y]), size, e.wrong[y])
	}
	watch, err := l.Watch(ctx, &servicev1.WatchRequest{})
	if err != nil {
		return err
	}
	for range size {
		m, err := watch.Recv()
		if err != nil {
			return err
		}
		e.outs[y] = append(e.outs[y], m.GetOutcome())
	}
	return nil
}
