package replica

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/tls"
	"fmt"
	"net"
	"sync"
	"time"

	"github.com/hashicorp/raft"
	"google.golang.org/grpc"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/keepalive"

	"yardhasp/client/pin"
)

// streams carries raft over the pinned TLS port. raft's addresses are yard names. Each
// dial looks the name up in the directory.
type streams struct {
	net.Listener
	yard      string
	key       ed25519.PrivateKey
	directory *directory
	dial      dialer
	ctx       context.Context
	cut       context.CancelFunc // ends every connection
}

// dialer makes a connection to a yard's replica; nil means over TCP.
type dialer func(ctx context.Context, yard, address string) (net.Conn, error)

func newStreams(l net.Listener, yard string, key ed25519.PrivateKey, b *directory, dial dialer) *streams {
	if dial == nil {
		dial = func(ctx context.Context, _, address string) (net.Conn, error) {
			var d net.Dialer
			return d.DialContext(ctx, "tcp", address)
		}
	}
	s := &streams{Listener: l, yard: yard, key: key, directory: b, dial: dial}
	s.ctx, s.cut = context.WithCancel(context.Background())
	return s
}

// owned is a connection that ends when streams is closed.
type owned struct {
	net.Conn
	forget func() bool
}

func (s *streams) own(c net.Conn) net.Conn {
	return &owned{c, context.AfterFunc(s.ctx, func() { c.Close() })}
}

func (o *owned) Close() error {
	o.forget()
	return o.Conn.Close()
}

// Accept returns only connections from a yard's replica.
func (s *streams) Accept() (net.Conn, error) {
	for {
		c, err := s.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if t, ok := c.(*tls.Conn); ok {
			if key, ok := pin.PeerKey(t.ConnectionState()); ok {
				if _, known := s.directory.yardOf(key); known {
					return s.own(c), nil
				}
			}
		}
		c.Close()
	}
}

func (s *streams) Addr() net.Addr { return yardAddr(s.yard) }

func (s *streams) Dial(address raft.ServerAddress, timeout time.Duration) (net.Conn, error) {
	yard := string(address)
	e, ok := s.directory.get(yard)
	if !ok {
		return nil, fmt.Errorf("yard %s is not known to this replica yet", yard)
	}
	ctx, cancel := context.WithTimeout(s.ctx, timeout)
	defer cancel()
	raw, err := s.dial(ctx, yard, e.Address)
	if err != nil {
		return nil, err
	}
	c := tls.Client(raw, pin.ClientConfig(s.key, s.directory.expects(yard), pin.ALPNPeer))
	if err := c.HandshakeContext(ctx); err != nil {
		raw.Close()
		return nil, err
	}
	return s.own(c), nil
}

// expects accepts only the key that the directory has for a yard at the moment.
func (b *directory) expects(yard string) func([]byte) bool {
	return func(key []byte) bool {
		e, ok := b.get(yard)
		return ok && bytes.Equal(e.Key, key)
	}
}

// yardAddr is a raft address: the yard's name.
type yardAddr string

func (yardAddr) Network() string  { return "yard" }
func (a yardAddr) String() string { return string(a) }

// peers keeps one gRPC connection to each other replica.
type peers struct {
	key       ed25519.PrivateKey
	directory *directory
	dial      dialer
	mu        sync.Mutex
	by        map[string]*grpc.ClientConn // by yard and address
}

func newPeers(key ed25519.PrivateKey, b *directory, dial dialer) *peers {
	return &peers{key: key, directory: b, dial: dial, by: map[string]*grpc.ClientConn{}}
}

// conn returns the connection to a yard's replica.
func (p *peers) conn(yard string) (*grpc.ClientConn, error) {
	e, ok := p.directory.get(yard)
	if !ok {
		return nil, fmt.Errorf("yard %s is not known here", yard)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	id := yard + " " + e.Address
	if c := p.by[id]; c != nil {
		return c, nil
	}
	opts := []grpc.DialOption{
		grpc.WithTransportCredentials(credentials.NewTLS(pin.ClientConfig(p.key, p.directory.expects(yard), pin.ALPNClient))),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: quickBackoff, MinConnectTimeout: 3 * time.Second}),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxMessage), grpc.MaxCallSendMsgSize(maxMessage))}
	if p.dial != nil {
		opts = append(opts, grpc.WithContextDialer(func(ctx context.Context, address string) (net.Conn, error) { return p.dial(ctx, yard, address) }))
	}
	c, err := grpc.NewClient("passthrough:///"+e.Address, opts...)
	if err != nil {
		return nil, err
	}
	p.by[id] = c
	return c, nil
}

// leaderConn returns the connection to the yard that leads. It ends gRPC's wait
// between tries: raft hears from that yard, so the link is back.
func (p *peers) leaderConn(yard string) (*grpc.ClientConn, error) {
	c, err := p.conn(yard)
	if err == nil && c.GetState() == connectivity.TransientFailure {
		c.ResetConnectBackoff()
	}
	return c, err
}

func (p *peers) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.by {
		c.Close()
	}
}
