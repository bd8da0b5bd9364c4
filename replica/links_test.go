package replica_test

import (
	"context"
	"errors"
	"net"
	"sync"

	"yardhasp/replica"
)

// links is the wire between the yards of a cluster: it can be cut at a yard. A cut
// breaks every connection to and from that yard's replica and refuses new ones, as
// the others see it when its process is killed; people at that yard still reach it.
type links struct {
	mu    sync.Mutex
	down  map[string]bool
	conns map[*linked]bool
}

// linked is a connection from one yard to another.
type linked struct {
	net.Conn
	l        *links
	from, to string
}

func (c *linked) Close() error {
	c.l.mu.Lock()
	delete(c.l.conns, c)
	c.l.mu.Unlock()
	return c.Conn.Close()
}

var errCut = &net.OpError{Op: "dial", Err: errors.New("connection refused: the link is cut")}

// wired puts links between the yards, besides what else tunes their replicas.
func wired(l *links) func(*cluster) {
	l.down, l.conns = map[string]bool{}, map[*linked]bool{}
	return func(c *cluster) {
		before := c.tune
		c.tune = func(cfg *replica.Config) {
			if before != nil {
				before(cfg)
			}
			set, err := replica.ReadSettings(cfg.Dir)
			if err != nil {
				c.t.Fatal(err)
			}
			from := set.Yard
			cfg.Dial = func(ctx context.Context, to, address string) (net.Conn, error) { return l.dial(ctx, from, to, address) }
		}
	}
}

func (l *links) dial(ctx context.Context, from, to, address string) (net.Conn, error) {
	if l.cutAt(from, to) {
		return nil, errCut
	}
	var d net.Dialer
	raw, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	c := &linked{raw, l, from, to}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.down[from] || l.down[to] { // cut while it dialled
		raw.Close()
		return nil, errCut
	}
	l.conns[c] = true
	return c, nil
}

func (l *links) cutAt(yards ...string) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, y := range yards {
		if l.down[y] {
			return true
		}
	}
	return false
}

func (l *links) cut(yard string) {
	l.mu.Lock()
	l.down[yard] = true
	var broken []*linked
	for c := range l.conns {
		if c.from == yard || c.to == yard {
			broken = append(broken, c)
		}
	}
	l.mu.Unlock()
	for _, c := range broken {
		c.Close()
	}
}

func (l *links) mend(yard string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.down, yard)
}
