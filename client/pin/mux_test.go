package pin

import (
	"context"
	"crypto/ed25519"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
)

// serve runs a mux on loopback until the test ends, and checks how Serve ended.
func serve(t *testing.T, cfg *tls.Config) *Mux {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := NewMux(l, cfg)
	ended := make(chan error, 1)
	go func() { ended <- m.Serve() }()
	t.Cleanup(func() {
		if err := m.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
		if err := <-ended; !errors.Is(err, net.ErrClosed) {
			t.Errorf("Serve ended with %v, want net.ErrClosed", err)
		}
	})
	return m
}

func TestMuxRoutes(t *testing.T) {
	server, client := newKey(t), newKey(t)
	m := serve(t, ServerConfig(server, only(client), ALPNClient, ALPNPeer, "nobody/1"))
	for _, alpn := range []string{ALPNClient, ALPNPeer} {
		l := m.Listener(alpn)
		go func() {
			for {
				conn, err := l.Accept()
				if err != nil {
					return
				}
				io.WriteString(conn, alpn)
				conn.Close()
			}
		}()
	}
	addr := m.inner.Addr().String()
	for _, alpn := range []string{ALPNPeer, ALPNClient, ALPNPeer} {
		conn, err := dial(t.Context(), addr, ClientConfig(client, only(server), alpn))
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(conn)
		if string(got) != alpn || err != nil {
			t.Errorf("asked for %s, reached %q, %v", alpn, got, err)
		}
		conn.Close()
	}
	t.Run("protocol without a listener", func(t *testing.T) {
		conn, err := dial(t.Context(), addr, ClientConfig(client, only(server), "nobody/1"))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := conn.Read(make([]byte, 1)); err == nil {
			t.Error("the connection stayed open and sent a byte")
		}
	})
	t.Run("no protocol", func(t *testing.T) {
		conn, err := dial(t.Context(), addr, ClientConfig(client, only(server)))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := conn.Read(make([]byte, 1)); err == nil {
			t.Error("the connection stayed open and sent a byte")
		}
	})
	t.Run("plain text", func(t *testing.T) {
		conn, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := io.WriteString(conn, "GET / HTTP/1.1\r\nHost: yard\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		// The socket must end; a reset counts, for the server had more to read.
		if got, err := io.ReadAll(conn); len(got) != 0 {
			t.Errorf("plain text was answered with %q, %v", got, err)
		}
	})
	t.Run("closed listener", func(t *testing.T) {
		m.Listener(ALPNPeer).Close()
		conn, err := dial(t.Context(), addr, ClientConfig(client, only(server), ALPNPeer))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if got, _ := io.ReadAll(conn); len(got) != 0 {
			t.Errorf("a closed listener answered %q", got)
		}
	})
}

func TestMuxListenerAfterClose(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	m := NewMux(l, ServerConfig(newKey(t), nil, ALPNPeer))
	if err := m.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Listener(ALPNPeer).Accept(); !errors.Is(err, net.ErrClosed) {
		t.Errorf("Accept = %v, want net.ErrClosed", err)
	}
	if err := m.Serve(); !errors.Is(err, net.ErrClosed) {
		t.Errorf("Serve = %v, want net.ErrClosed", err)
	}
}

// pipes is a listener in memory, so that time in a synctest bubble is virtual.
type pipes struct {
	conns chan net.Conn
	done  chan struct{}
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.conns:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}
func (p *pipes) Close() error   { close(p.done); return nil }
func (p *pipes) Addr() net.Addr { return &net.TCPAddr{} }

func TestMuxDropsSilentCallers(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &pipes{make(chan net.Conn), make(chan struct{})}
		m := NewMux(p, ServerConfig(newKey(t), nil, ALPNPeer))
		go m.Serve()
		began := time.Now()
		ends := make(chan time.Duration, maxHandshakes+1)
		call := func() {
			ours, theirs := net.Pipe()
			p.conns <- theirs
			io.Copy(io.Discard, ours)
			ends <- time.Since(began)
		}
		for range maxHandshakes + 1 {
			go call()
		}
		synctest.Wait()
		if len(m.slots) != maxHandshakes {
			t.Errorf("%d handshakes under way, want the limit %d", len(m.slots), maxHandshakes)
		}
		if len(ends) != 0 {
			t.Errorf("%d callers were dropped at once", len(ends))
		}
		for range maxHandshakes {
			if got := <-ends; got != handshakeLimit {
				t.Fatalf("a silent caller was dropped after %v, want %v", got, handshakeLimit)
			}
		}
		if got := <-ends; got != 2*handshakeLimit {
			t.Errorf("the caller over the limit was dropped after %v, want %v", got, 2*handshakeLimit)
		}
		if err := m.Close(); err != nil {
			t.Error(err)
		}
	})
}

func TestMuxCloseBreaksOffHandshakes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &pipes{make(chan net.Conn), make(chan struct{})}
		m := NewMux(p, ServerConfig(newKey(t), nil, ALPNPeer))
		ended := make(chan error, 1)
		go func() { ended <- m.Serve() }()
		ours, theirs := net.Pipe()
		p.conns <- theirs
		began := time.Now()
		if err := m.Close(); err != nil {
			t.Error(err)
		}
		if _, err := ours.Read(make([]byte, 1)); err == nil {
			t.Error("the unfinished connection is still open")
		}
		if err := <-ended; !errors.Is(err, net.ErrClosed) {
			t.Errorf("Serve = %v", err)
		}
		if waited := time.Since(began); waited != 0 {
			t.Errorf("Close took %v", waited)
		}
	})
}

func TestGRPCHealth(t *testing.T) {
	server, client, stranger := newKey(t), newKey(t), newKey(t)
	m := serve(t, ServerConfig(server, nil, ALPNClient, ALPNPeer))
	// The service decides by key, as the replica does for people.
	guard := func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		p, _ := peer.FromContext(ctx)
		info, ok := p.AuthInfo.(credentials.TLSInfo)
		if !ok {
			return nil, status.Errorf(codes.Internal, "auth info is %T", p.AuthInfo)
		}
		key, ok := PeerKey(info.State)
		if !ok || !key.Equal(ed25519.PublicKey(client[32:])) {
			return nil, status.Error(codes.PermissionDenied, "unknown key")
		}
		return next(ctx, req)
	}
	g := grpc.NewServer(grpc.Creds(GRPCServerCreds()), grpc.UnaryInterceptor(guard))
	grpc_health_v1.RegisterHealthServer(g, health.NewServer())
	go g.Serve(m.Listener(ALPNClient))
	t.Cleanup(g.Stop)

	call := func(t *testing.T, cfg *tls.Config) (*grpc_health_v1.HealthCheckResponse, error) {
		conn, err := grpc.NewClient(m.inner.Addr().String(), grpc.WithTransportCredentials(credentials.NewTLS(cfg)))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		return grpc_health_v1.NewHealthClient(conn).Check(t.Context(), &grpc_health_v1.HealthCheckRequest{})
	}
	got, err := call(t, ClientConfig(client, only(server), ALPNClient))
	if err != nil || got.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
		t.Fatalf("health = %v, %v", got, err)
	}
	if _, err := call(t, ClientConfig(stranger, only(server), ALPNClient)); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a stranger's call ended with %v, want PermissionDenied from the service", err)
	}
	if _, err := call(t, ClientConfig(client, only(stranger), ALPNClient)); status.Code(err) != codes.Unavailable {
		t.Errorf("a call to an unpinned server ended with %v, want Unavailable", err)
	}
}

func TestGRPCServerCredsRefusesUnprovedConnections(t *testing.T) {
	a, b := net.Pipe()
	defer a.Close()
	defer b.Close()
	if _, _, err := GRPCServerCreds().ServerHandshake(a); err == nil {
		t.Error("a plain connection was taken")
	}
	if _, _, err := GRPCServerCreds().ServerHandshake(tls.Server(a, ServerConfig(newKey(t), nil))); err == nil {
		t.Error("a connection without a finished handshake was taken")
	}
	if _, _, err := GRPCServerCreds().ClientHandshake(t.Context(), "x", a); err == nil {
		t.Error("server credentials made a client connection")
	}
}
