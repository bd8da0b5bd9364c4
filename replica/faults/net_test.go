package faults_test

import (
	"context"
	"errors"
	"io"
	"net"
	"os"
	"strings"
	"sync"
	"syscall"
	"time"
)

// network joins yards in memory. Each direction of each pair of yards has its own
// delay, and may be held: what is sent then waits, as on a link that loses
// packets, until it is let go or the connection ends. A yard always reaches
// itself.
type network struct {
	mu    sync.Mutex
	ports map[string]*port // yards that are up
	held  map[way]bool
	delay map[way]time.Duration
	conns map[*end]bool
	moved chan struct{} // closed when what is held changed
	traps map[string]*trap
}

type way struct{ from, to string }

// trap holds everything a yard sends from its n-th write on.
type trap struct {
	left   int
	sprung chan struct{}
}

func newNetwork() *network {
	return &network{ports: map[string]*port{}, held: map[way]bool{}, delay: map[way]time.Duration{}, conns: map[*end]bool{},
		moved: make(chan struct{}), traps: map[string]*trap{}}
}

// at is the address of a yard.
func at(yard string) string { return yard + ":7400" }

type addr string

func (addr) Network() string  { return "memory" }
func (a addr) String() string { return string(a) }

// port is where a yard listens.
type port struct {
	yard  string
	n     *network
	queue chan net.Conn
	done  chan struct{}
	once  sync.Once
}

func (n *network) listen(yard string) *port {
	p := &port{yard: yard, n: n, queue: make(chan net.Conn, 64), done: make(chan struct{})}
	n.mu.Lock()
	defer n.mu.Unlock()
	n.ports[yard] = p
	return p
}

func (p *port) Accept() (net.Conn, error) {
	select {
	case c := <-p.queue:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *port) Close() error {
	p.once.Do(func() {
		close(p.done)
		p.n.mu.Lock()
		defer p.n.mu.Unlock()
		if p.n.ports[p.yard] == p {
			delete(p.n.ports, p.yard)
		}
	})
	return nil
}

func (p *port) Addr() net.Addr { return addr(at(p.yard)) }

// pass reports whether a direction carries, how long it takes, and what to wait
// for. A trap that sprang holds everything its yard sends.
func (n *network) pass(w way) (ok bool, d time.Duration, moved <-chan struct{}) {
	n.mu.Lock()
	defer n.mu.Unlock()
	d = n.delay[w]
	if w.from == w.to {
		d = 100 * time.Microsecond
	}
	t := n.traps[w.from]
	return (w.from == w.to || !n.held[w]) && (t == nil || t.left > 0), d, n.moved
}

func (n *network) change(fn func()) {
	n.mu.Lock()
	defer n.mu.Unlock()
	fn()
	close(n.moved)
	n.moved = make(chan struct{})
}

// hold holds directions; heal lets all go.
func (n *network) hold(ways ...way) {
	n.change(func() {
		for _, w := range ways {
			n.held[w] = true
		}
	})
}

func (n *network) heal() { n.change(func() { clear(n.held) }) }

// reset breaks every connection that fits, at once and at both ends.
func (n *network) reset(fits func(way) bool) {
	n.mu.Lock()
	var gone []*end
	for e := range n.conns {
		if fits(e.out.way) || fits(e.in.way) {
			gone = append(gone, e)
		}
	}
	n.mu.Unlock()
	for _, e := range gone {
		e.out.breakOff(syscall.ECONNRESET)
		e.in.breakOff(syscall.ECONNRESET)
	}
}

// setTrap makes a yard fall silent after its n-th write from now.
func (n *network) setTrap(yard string, after int) <-chan struct{} {
	t := &trap{left: after + 1, sprung: make(chan struct{})}
	n.change(func() { n.traps[yard] = t })
	return t.sprung
}

// kill takes a yard off the network: its connections break, its port refuses.
func (n *network) kill(yard string) {
	n.mu.Lock()
	p := n.ports[yard]
	n.mu.Unlock()
	if p != nil {
		p.Close()
	}
	n.reset(func(w way) bool { return w.from == yard || w.to == yard })
	n.change(func() { delete(n.traps, yard) })
}

// dial connects from one yard to the yard of an address, as TCP would: a held
// direction makes it wait, a yard that is down refuses.
func (n *network) dial(ctx context.Context, from, address string) (net.Conn, error) {
	to, _, _ := strings.Cut(address, ":")
	for _, w := range []way{{from, to}, {to, from}} {
		for {
			ok, d, moved := n.pass(w)
			var wait <-chan time.Time
			if ok {
				t := time.NewTimer(d)
				defer t.Stop()
				wait, moved = t.C, nil
			}
			select {
			case <-wait:
			case <-moved:
				continue
			case <-ctx.Done():
				return nil, ctx.Err()
			}
			break
		}
	}
	out, back := newFlow(n, way{from, to}), newFlow(n, way{to, from})
	near, far := &end{n: n, out: out, in: back}, &end{n: n, out: back, in: out}
	n.mu.Lock()
	defer n.mu.Unlock()
	p := n.ports[to]
	if p == nil {
		return nil, &net.OpError{Op: "dial", Net: "memory", Addr: addr(address), Err: syscall.ECONNREFUSED}
	}
	select {
	case p.queue <- far:
		n.conns[near], n.conns[far] = true, true
		return near, nil
	default:
		return nil, &net.OpError{Op: "dial", Net: "memory", Addr: addr(address), Err: errors.New("its queue is full")}
	}
}

// flow is one direction of a connection.
type flow struct {
	n     *network
	way   way
	mu    sync.Mutex
	parts []part
	last  time.Time // when the newest part arrives
	err   error     // what both sides get after the parts
	shut  bool      // the reader closed: the writer learns of it by the end that comes back
	moved chan struct{}
	until time.Time // the reader's deadline
}

type part struct {
	due  time.Time
	data []byte
	eof  bool
}

func newFlow(n *network, w way) *flow { return &flow{n: n, way: w, moved: make(chan struct{})} }

func (f *flow) poke() { close(f.moved); f.moved = make(chan struct{}) }

// breakOff ends a flow at once, with all that is on its way.
func (f *flow) breakOff(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.parts, f.err = nil, err
	f.poke()
}

// shutdown is the reader's closing.
func (f *flow) shutdown() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.parts, f.shut = nil, true
	f.poke()
}

func (f *flow) push(b []byte, eof bool) error {
	f.n.mu.Lock()
	if t := f.n.traps[f.way.from]; t != nil && t.left > 0 {
		if t.left--; t.left == 0 {
			close(t.sprung)
		}
	}
	f.n.mu.Unlock()
	_, d, _ := f.n.pass(f.way)
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.err != nil || f.shut {
		return f.err
	}
	due := time.Now().Add(d)
	if due.Before(f.last) {
		due = f.last
	}
	f.last = due
	f.parts = append(f.parts, part{due: due, data: append([]byte(nil), b...), eof: eof})
	f.poke()
	return nil
}

func (f *flow) read(b []byte) (int, error) {
	for {
		ok, _, netMoved := f.n.pass(f.way)
		f.mu.Lock()
		moved, until, now := f.moved, f.until, time.Now()
		next := until
		switch {
		case f.shut:
			f.mu.Unlock()
			return 0, net.ErrClosed
		case f.err != nil && len(f.parts) == 0:
			err := f.err
			f.mu.Unlock()
			return 0, err
		case !until.IsZero() && !until.After(now):
			f.mu.Unlock()
			return 0, os.ErrDeadlineExceeded
		case ok && len(f.parts) > 0 && !f.parts[0].due.After(now):
			p := &f.parts[0]
			if p.eof {
				f.mu.Unlock() // it stays, for the next read
				return 0, io.EOF
			}
			k := copy(b, p.data)
			if p.data = p.data[k:]; len(p.data) == 0 {
				f.parts = f.parts[1:]
			}
			f.mu.Unlock()
			return k, nil
		case ok && len(f.parts) > 0 && (next.IsZero() || f.parts[0].due.Before(next)):
			next = f.parts[0].due
		}
		f.mu.Unlock()
		wait := time.NewTimer(24 * time.Hour)
		if !next.IsZero() {
			wait.Reset(next.Sub(now))
		}
		select {
		case <-moved:
		case <-netMoved:
		case <-wait.C:
		}
		wait.Stop()
	}
}

// end is one side's view of a connection.
type end struct {
	n       *network
	out, in *flow
	once    sync.Once
}

func (e *end) Read(b []byte) (int, error) { return e.in.read(b) }

func (e *end) Write(b []byte) (int, error) {
	if err := e.out.push(b, false); err != nil {
		return 0, err
	}
	return len(b), nil
}

// Close sends the end after what was written, and reads no more.
func (e *end) Close() error {
	e.once.Do(func() {
		_ = e.out.push(nil, true)
		e.in.shutdown()
		e.n.mu.Lock()
		defer e.n.mu.Unlock()
		delete(e.n.conns, e)
	})
	return nil
}

func (e *end) LocalAddr() net.Addr              { return addr(at(e.out.way.from)) }
func (e *end) RemoteAddr() net.Addr             { return addr(at(e.out.way.to)) }
func (e *end) SetWriteDeadline(time.Time) error { return nil } // a write never waits
func (e *end) SetDeadline(t time.Time) error    { return e.SetReadDeadline(t) }

func (e *end) SetReadDeadline(t time.Time) error {
	e.in.mu.Lock()
	defer e.in.mu.Unlock()
	e.in.until = t
	e.in.poke()
	return nil
}
