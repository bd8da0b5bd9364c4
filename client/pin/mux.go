package pin

import (
	"context"
	"crypto/tls"
	"errors"
	"net"
	"sync"
	"time"
)

const (
	// handshakeLimit limits a handshake, and the wait to be accepted after it.
	handshakeLimit = 10 * time.Second
	// maxHandshakes limits the callers that have not proved a key yet. More callers wait
	// in the kernel's queue.
	maxHandshakes = 256
	// maxPause limits the pause after a failed accept, such as for lack of descriptors.
	maxPause = time.Second
)

// Mux shares one port among protocols, which ALPN tells apart. It is safe for concurrent
// use.
type Mux struct {
	inner net.Listener
	cfg   *tls.Config
	ctx   context.Context
	stop  context.CancelFunc
	slots chan struct{}
	work  sync.WaitGroup

	mu     sync.Mutex
	closed bool
	by     map[string]*listener
}

// NewMux shares l under cfg. cfg is made by ServerConfig with every protocol to be
// served.
func NewMux(l net.Listener, cfg *tls.Config) *Mux {
	ctx, stop := context.WithCancel(context.Background())
	return &Mux{inner: l, cfg: cfg, ctx: ctx, stop: stop,
		slots: make(chan struct{}, maxHandshakes), by: make(map[string]*listener)}
}

// Listener gives the connections that chose the protocol, each a *tls.Conn with a
// finished handshake. The same protocol gives the same listener. After it is closed,
// that protocol is refused and the others stay open.
func (m *Mux) Listener(alpn string) net.Listener {
	m.mu.Lock()
	defer m.mu.Unlock()
	l := m.by[alpn]
	if l == nil {
		l = &listener{addr: m.inner.Addr(), conns: make(chan net.Conn), done: make(chan struct{})}
		m.by[alpn] = l
		if m.closed {
			l.Close()
		}
	}
	return l
}

// Serve accepts until Close, then returns net.ErrClosed. Any other error comes from the
// shared listener and is final.
func (m *Mux) Serve() error {
	var pause time.Duration
	for {
		select {
		case m.slots <- struct{}{}:
		case <-m.ctx.Done():
			return net.ErrClosed
		}
		conn, err := m.inner.Accept()
		if err != nil {
			<-m.slots
			if m.ctx.Err() != nil || errors.Is(err, net.ErrClosed) {
				return net.ErrClosed
			}
			if !passing(err) {
				return err
			}
			if pause = min(max(2*pause, 5*time.Millisecond), maxPause); !m.rest(pause) {
				return net.ErrClosed
			}
			continue
		}
		pause = 0
		if !m.start() {
			conn.Close()
			return net.ErrClosed
		}
		go m.handshake(conn)
	}
}

// Close stops Serve and every listener. It breaks off handshakes that are not finished,
// and waits for them. Connections already accepted stay open: their owners close them.
func (m *Mux) Close() error {
	m.mu.Lock()
	m.closed = true
	for _, l := range m.by {
		l.Close()
	}
	m.mu.Unlock()
	m.stop()
	err := m.inner.Close()
	m.work.Wait()
	if errors.Is(err, net.ErrClosed) {
		return nil
	}
	return err
}

// start counts a handshake in, unless the mux is closed.
func (m *Mux) start() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return false
	}
	m.work.Add(1)
	return true
}

func (m *Mux) handshake(raw net.Conn) {
	defer m.work.Done()
	defer func() { <-m.slots }()
	ctx, cancel := context.WithTimeout(m.ctx, handshakeLimit)
	defer cancel()
	conn := tls.Server(raw, m.cfg)
	if err := conn.HandshakeContext(ctx); err != nil {
		// A caller without a proved key learns no more than its TLS alert.
		raw.Close()
		return
	}
	m.mu.Lock()
	l := m.by[conn.ConnectionState().NegotiatedProtocol]
	m.mu.Unlock()
	if l == nil {
		raw.Close()
		return
	}
	select {
	case l.conns <- conn:
	case <-l.done:
		raw.Close()
	case <-ctx.Done():
		raw.Close()
	}
}

// rest pauses. It is false when the mux was closed meanwhile.
func (m *Mux) rest(d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-m.ctx.Done():
		return false
	}
}

// passing reports whether to try again after an accept error, such as an aborted
// connection or no free descriptor. It decides as net/http.Server does.
func passing(err error) bool {
	var temporary interface{ Temporary() bool }
	return errors.As(err, &temporary) && temporary.Temporary()
}

// listener is the part of a Mux that speaks one protocol.
type listener struct {
	addr  net.Addr
	conns chan net.Conn
	done  chan struct{}
	once  sync.Once
}

func (l *listener) Accept() (net.Conn, error) {
	select {
	case <-l.done:
		return nil, net.ErrClosed
	default:
	}
	select {
	case conn := <-l.conns:
		return conn, nil
	case <-l.done:
		return nil, net.ErrClosed
	}
}

func (l *listener) Close() error {
	l.once.Do(func() { close(l.done) })
	return nil
}

func (l *listener) Addr() net.Addr { return l.addr }
