package demo

import (
	"context"
	"net"
	"os/exec"
	"sync"
)

// network is the links between the yards' machines. A scenario may cut them.
type network interface {
	// place gives the address on which a yard's replica listens, and the address at
	// which the others reach it.
	place(yard string) (listen, address string, err error)
	// command is the command that runs the program on the yard's machine.
	command(yard, exe string, args ...string) *exec.Cmd
	// runs tells the network which process is the yard's replica now.
	runs(yard string, pid int)
	// dial connects a person at a yard to a registered address.
	dial(ctx context.Context, yard, address string) (net.Conn, error)
	// cut takes a yard's link down, in both directions; mend brings it up again.
	cut(yard string) error
	mend(yard string) error
	close() error
}

// links knows which yards' links are down.
type links struct {
	mu      sync.Mutex
	down    map[string]bool
	changed chan struct{} // closed when down changes
}

func newLinks() *links { return &links{down: map[string]bool{}, changed: make(chan struct{})} }

func (l *links) set(yard string, down bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.down[yard] = down
	close(l.changed)
	l.changed = make(chan struct{})
}

// pass returns true once the links of both yards are up, and false if quit ends first.
// Within one yard nothing can be cut.
func (l *links) pass(from, to string, quit <-chan struct{}) bool {
	for {
		l.mu.Lock()
		down, changed := from != to && (l.down[from] || l.down[to]), l.changed
		l.mu.Unlock()
		if !down {
			return true
		}
		select {
		case <-changed:
		case <-quit:
			return false
		}
	}
}

// gated is a connection that carries nothing while one of its links is down. Data sent
// meanwhile waits, as on a real link that fails.
type gated struct {
	net.Conn
	links    *links
	from, to string
	quit     chan struct{}
	once     sync.Once
}

func gate(c net.Conn, l *links, from, to string) *gated {
	return &gated{Conn: c, links: l, from: from, to: to, quit: make(chan struct{})}
}

func (g *gated) Read(b []byte) (int, error) {
	n, err := g.Conn.Read(b)
	if !g.links.pass(g.from, g.to, g.quit) {
		return 0, net.ErrClosed
	}
	return n, err
}

func (g *gated) Write(b []byte) (int, error) {
	if !g.links.pass(g.from, g.to, g.quit) {
		return 0, net.ErrClosed
	}
	return g.Conn.Write(b)
}

func (g *gated) Close() error {
	g.once.Do(func() { close(g.quit) })
	return g.Conn.Close()
}
