package scenarios

import (
	"context"
	"fmt"
	"net"
	"sync"
)

// wires is the network between the yards: a yard whose links are down reaches
// itself only, and connections over a link that goes down end.
type wires struct {
	mu    sync.Mutex
	at    map[string]string // address -> yard
	down  map[string]bool
	conns map[*wire]bool
}

type wire struct {
	net.Conn
	w        *wires
	from, to string
}

func newWires() *wires {
	return &wires{at: map[string]string{}, down: map[string]bool{}, conns: map[*wire]bool{}}
}

func (w *wires) place(yard, address string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.at[address] = yard
}

func (w *wires) dead(from, to string) bool { return from != to && (w.down[from] || w.down[to]) }

func (w *wires) dial(ctx context.Context, from, address string) (net.Conn, error) {
	w.mu.Lock()
	to := w.at[address]
	dead := w.dead(from, to)
	w.mu.Unlock()
	if dead {
		return nil, fmt.Errorf("no route from %s to %s", from, to)
	}
	c, err := new(net.Dialer).DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.dead(from, to) {
		return nil, fmt.Errorf("no route from %s to %s: %w", from, to, c.Close())
	}
	x := &wire{c, w, from, to}
	w.conns[x] = true
	return x, nil
}

func (x *wire) Close() error {
	x.w.mu.Lock()
	delete(x.w.conns, x)
	x.w.mu.Unlock()
	return x.Conn.Close()
}

// set takes a yard's links down or up.
func (w *wires) set(yard string, down bool) {
	w.mu.Lock()
	w.down[yard] = down
	var end []*wire
	for x := range w.conns {
		if w.dead(x.from, x.to) {
			end = append(end, x)
		}
	}
	w.mu.Unlock()
	for _, x := range end {
		x.Close()
	}
}
