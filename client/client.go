package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/connectivity"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/keepalive"

	"yardhasp/client/pin"
)

// Client speaks to the yards of a profile as one person. It is safe for
// concurrent use.
type Client struct {
	profile *Profile
	key     ed25519.PrivateKey
	tickets TicketSource
	now     func() time.Time
	dialer  func(ctx context.Context, address string) (net.Conn, error)
	connect time.Duration
	retries int
	state   string

	mu    sync.Mutex
	conns map[string]*grpc.ClientConn
	shut  bool
}

// Option changes a Client.
type Option func(*Client)

// WithClock sets the clock that records are stamped from.
func WithClock(now func() time.Time) Option { return func(c *Client) { c.now = now } }

// WithDialer sets how connections are made.
func WithDialer(d func(ctx context.Context, address string) (net.Conn, error)) Option {
	return func(c *Client) { c.dialer = d }
}

// WithConnectTimeout sets how long to wait for a connection to one yard. The default is
// 3 s.
func WithConnectTimeout(d time.Duration) Option { return func(c *Client) { c.connect = d } }

// WithState sets the folder of the outbox and of the last board. Without it, nothing is
// kept on this machine.
func WithState(dir string) Option { return func(c *Client) { c.state = dir } }

// New makes a client. It does not connect until it has to.
func New(profile *Profile, key ed25519.PrivateKey, tickets TicketSource, opts ...Option) (*Client, error) {
	if err := profile.check(); err != nil {
		return nil, fmt.Errorf("profile: %w", err)
	}
	if len(key) != ed25519.PrivateKeySize {
		return nil, errors.New("the key is not a whole Ed25519 private key: read it from its file again")
	}
	c := &Client{profile: profile, key: key, tickets: tickets, now: time.Now, connect: 3 * time.Second, retries: 2, conns: map[string]*grpc.ClientConn{}}
	for _, o := range opts {
		o(c)
	}
	return c, nil
}

// Profile is what the client was made with. Callers must not change it.
func (c *Client) Profile() *Profile { return c.profile }

// Close ends every connection.
func (c *Client) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.shut = true
	var err error
	for id, conn := range c.conns {
		err = errors.Join(err, conn.Close())
		delete(c.conns, id)
	}
	return err
}

// conn returns the connection to a yard. It may not be connected yet.
func (c *Client) conn(y Yard) (*grpc.ClientConn, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.shut {
		return nil, errors.New("the client is closed")
	}
	if conn := c.conns[y.ID]; conn != nil {
		return conn, nil
	}
	conn, err := newConn(y, c.key, c.dialer)
	if err != nil {
		return nil, err
	}
	c.conns[y.ID] = conn
	return conn, nil
}

func newConn(y Yard, key ed25519.PrivateKey, dialer func(context.Context, string) (net.Conn, error)) (*grpc.ClientConn, error) {
	pinned := func(k []byte) bool { return bytes.Equal(k, y.Key) }
	opts := []grpc.DialOption{
		grpc.WithTransportCredentials(credentials.NewTLS(pin.ClientConfig(key, pinned, pin.ALPNClient))),
		// Rural links drop idle connections silently.
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 30 * time.Second, Timeout: 10 * time.Second, PermitWithoutStream: true}),
		// This package decides when to send again, never the transport.
		grpc.WithDisableRetry(), grpc.WithDisableServiceConfig(), grpc.WithIdleTimeout(0),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(64 << 20)),
	}
	if dialer != nil {
		opts = append(opts, grpc.WithContextDialer(dialer))
	}
	conn, err := grpc.NewClient("passthrough:///"+y.Address, opts...)
	if err != nil {
		return nil, fmt.Errorf("yard %s at %s: %w", y.ID, y.Address, err)
	}
	return conn, nil
}

// reach connects to a yard. Its error is a notConnected: this call sent nothing. If it
// is patient, it keeps trying for the time of WithConnectTimeout.
func (c *Client) reach(ctx context.Context, y Yard, patient bool) (*grpc.ClientConn, error) {
	conn, err := c.conn(y)
	if err != nil {
		return nil, &notConnected{err}
	}
	if err := ready(ctx, conn, c.connect, patient); err != nil {
		return nil, &notConnected{fmt.Errorf("%s at %s: %w", y.ID, y.Address, err)}
	}
	return conn, nil
}

// ready waits until the connection stands, for at most d. If it is not patient, it gives
// up on the first failure, because the next yard may be up.
func ready(ctx context.Context, conn *grpc.ClientConn, d time.Duration, patient bool) error {
	ctx, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	failed := false
	for {
		s := conn.GetState()
		switch s {
		case connectivity.Ready:
			return nil
		case connectivity.Shutdown:
			return errors.New("the connection is closed")
		case connectivity.TransientFailure:
			if failed && !patient {
				return errors.New("the yard does not answer, or its key is not the pinned one")
			}
			// An earlier failure says nothing about now.
			if !failed {
				conn.ResetConnectBackoff()
			}
		}
		failed = failed || s == connectivity.Connecting
		conn.Connect()
		if !conn.WaitForStateChange(ctx, s) {
			return errors.New("the yard does not answer")
		}
	}
}

// order lists the yards to ask: the named ones first, then the person's own yard, then
// the others in the order of the profile.
func (c *Client) order(first ...string) []Yard {
	var out []Yard
	seen := map[string]bool{}
	add := func(id string) {
		if y, ok := c.profile.YardByID(id); ok && !seen[id] {
			seen[id] = true
			out = append(out, y)
		}
	}
	for _, id := range first {
		add(id)
	}
	add(c.profile.Yard)
	for _, y := range c.profile.Yards {
		add(y.ID)
	}
	return out
}
