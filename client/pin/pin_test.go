package pin

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"io"
	"math/big"
	"net"
	"strings"
	"testing"
	"time"
)

func newKey(t *testing.T) ed25519.PrivateKey {
	t.Helper()
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func only(key ed25519.PrivateKey) func([]byte) bool {
	return func(got []byte) bool { return bytes.Equal(got, key[32:]) }
}

// meet connects two configurations over loopback and sends one byte each way,
// since in TLS 1.3 a refused client learns of it only when it reads (RFC 8446,
// section 2).
func meet(t *testing.T, client, server *tls.Config) (seen tls.ConnectionState, clientErr, serverErr error) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	done := make(chan struct{})
	go func() {
		defer close(done)
		raw, err := l.Accept()
		if err != nil {
			serverErr = err
			return
		}
		defer raw.Close()
		conn := tls.Server(raw, server)
		if serverErr = conn.Handshake(); serverErr != nil {
			return
		}
		seen = conn.ConnectionState()
		_, serverErr = io.Copy(conn, io.LimitReader(conn, 1))
	}()
	raw, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	conn := tls.Client(raw, client)
	clientErr = func() error {
		if err := conn.Handshake(); err != nil {
			return err
		}
		if _, err := conn.Write([]byte{7}); err != nil {
			return err
		}
		_, err := io.ReadFull(conn, make([]byte, 1))
		return err
	}()
	raw.Close()
	<-done
	return seen, clientErr, serverErr
}

func TestKeysDecide(t *testing.T) {
	server, client, stranger := newKey(t), newKey(t), newKey(t)
	tests := []struct {
		name           string
		client, server *tls.Config
		clientErr      string // "" means the byte came back
		serverErr      string
	}{
		{"right keys", ClientConfig(client, only(server), ALPNClient), ServerConfig(server, only(client), ALPNClient), "", ""},
		{"any client key", ClientConfig(stranger, only(server)), ServerConfig(server, nil), "", ""},
		{"wrong server key", ClientConfig(client, only(stranger)), ServerConfig(server, only(client)), "not the one pinned", "bad certificate"},
		{"no server key pinned", ClientConfig(client, nil), ServerConfig(server, only(client)), "not the one pinned", "bad certificate"},
		{"wrong client key", ClientConfig(stranger, only(server)), ServerConfig(server, only(client)), "bad certificate", "not enrolled"},
		{"protocol not chosen", ClientConfig(client, only(server), ALPNPeer), ServerConfig(server, nil), "speaks none of", "bad certificate"},
		{"no common protocol", ClientConfig(client, only(server), ALPNPeer), ServerConfig(server, nil, ALPNClient), "no application protocol", "unsupported application protocols"},
		{"broken client key", ClientConfig(client[:10], only(server)), ServerConfig(server, nil), "has 10 bytes", "EOF"},
		{"broken server key", ClientConfig(client, only(server)), ServerConfig(nil, nil), "internal error", "has 0 bytes"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			seen, clientErr, serverErr := meet(t, test.client, test.server)
			match(t, "client", clientErr, test.clientErr)
			match(t, "server", serverErr, test.serverErr)
			if test.clientErr != "" {
				return
			}
			key, ok := PeerKey(seen)
			own, err := test.client.GetClientCertificate(nil)
			if err != nil {
				t.Fatal(err)
			}
			if !ok || !key.Equal(own.Leaf.PublicKey.(ed25519.PublicKey)) {
				t.Errorf("PeerKey = %x, %v, want the client's key", key, ok)
			}
			if seen.DidResume {
				t.Error("the connection resumed an older one")
			}
		})
	}
}

func match(t *testing.T, side string, err error, want string) {
	t.Helper()
	switch {
	case want == "" && err != nil:
		t.Errorf("%s refused: %v", side, err)
	case want != "" && err == nil:
		t.Errorf("%s went on, want an error with %q", side, want)
	case want != "" && !strings.Contains(err.Error(), want):
		t.Errorf("%s error %q, want one with %q", side, err, want)
	}
}

func TestForeignPeersRefused(t *testing.T) {
	server, client := newKey(t), newKey(t)
	own, err := Certificate(client)
	if err != nil {
		t.Fatal(err)
	}
	trusting := func(change func(*tls.Config)) *tls.Config {
		cfg := &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{own}}
		change(cfg)
		return cfg
	}
	doubled := own
	doubled.Certificate = append([][]byte{own.Certificate[0]}, own.Certificate[0])
	tests := []struct {
		name, serverErr string
		client          *tls.Config
	}{
		// The control: without a fault this plain crypto/tls client gets in.
		{"no fault", "", trusting(func(*tls.Config) {})},
		{"no certificate", "didn't provide a certificate", trusting(func(c *tls.Config) { c.Certificates = nil })},
		{"TLS 1.2", "unsupported versions", trusting(func(c *tls.Config) { c.MaxVersion = tls.VersionTLS12 })},
		{"two certificates", "shows 2 certificates", trusting(func(c *tls.Config) { c.Certificates = []tls.Certificate{doubled} })},
		{"P-256 key", "not Ed25519", trusting(func(c *tls.Config) { c.Certificates = []tls.Certificate{p256(t)} })},
		{"another's certificate", "invalid signature", trusting(func(c *tls.Config) {
			c.Certificates = []tls.Certificate{{Certificate: own.Certificate, PrivateKey: newKey(t)}}
		})},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			_, clientErr, serverErr := meet(t, test.client, ServerConfig(server, nil))
			match(t, "server", serverErr, test.serverErr)
			if (clientErr == nil) != (test.serverErr == "") {
				t.Errorf("client got its byte back: %v, client error %v", clientErr == nil, clientErr)
			}
		})
	}
	t.Run("server speaks TLS 1.2", func(t *testing.T) {
		old := trusting(func(c *tls.Config) { c.MaxVersion = tls.VersionTLS12 })
		_, clientErr, _ := meet(t, ClientConfig(client, func([]byte) bool { return true }), old)
		match(t, "client", clientErr, "protocol version")
	})
	t.Run("server with a P-256 key", func(t *testing.T) {
		cfg := &tls.Config{Certificates: []tls.Certificate{p256(t)}}
		_, clientErr, _ := meet(t, ClientConfig(client, func([]byte) bool { return true }), cfg)
		match(t, "client", clientErr, "not Ed25519")
	})
}

func p256(t *testing.T) tls.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: notAfter}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

// A second connection with a client that keeps tickets must not resume: a key
// revoked in between would not be looked at.
func TestNoResumption(t *testing.T) {
	server, client := newKey(t), newKey(t)
	cfg := ClientConfig(client, only(server))
	cfg.ClientSessionCache = tls.NewLRUClientSessionCache(8)
	cfg.ServerName = "yard" // under which the cache looks, whatever the port
	revoked := false
	serverCfg := ServerConfig(server, func(key []byte) bool { return !revoked && only(client)(key) })
	for range 2 {
		seen, clientErr, serverErr := meet(t, cfg, serverCfg)
		match(t, "client", clientErr, "")
		match(t, "server", serverErr, "")
		if seen.DidResume {
			t.Fatal("the second connection resumed the first")
		}
	}
	revoked = true
	_, _, serverErr := meet(t, cfg, serverCfg)
	match(t, "server", serverErr, "not enrolled")
}

func TestCertificate(t *testing.T) {
	key := newKey(t)
	one, err := Certificate(key)
	if err != nil {
		t.Fatal(err)
	}
	two, err := Certificate(key)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(one.Certificate[0], two.Certificate[0]) {
		t.Error("the same key gives two certificates")
	}
	if err := one.Leaf.CheckSignature(one.Leaf.SignatureAlgorithm, one.Leaf.RawTBSCertificate, one.Leaf.Signature); err != nil {
		t.Errorf("crypto/x509 does not accept the signature: %v", err)
	}
	// A box whose clock starts at the Unix epoch's first years or far ahead.
	for _, at := range []time.Time{time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2199, 1, 1, 0, 0, 0, 0, time.UTC)} {
		roots := x509.NewCertPool()
		roots.AddCert(one.Leaf)
		if _, err := one.Leaf.Verify(x509.VerifyOptions{Roots: roots, CurrentTime: at}); err != nil {
			t.Errorf("at %v: %v", at, err)
		}
	}
	if _, err := Certificate(nil); err == nil {
		t.Error("a missing key gave a certificate")
	}
}

func TestPeerKeyNeedsFinishedHandshake(t *testing.T) {
	own, err := Certificate(newKey(t))
	if err != nil {
		t.Fatal(err)
	}
	state := tls.ConnectionState{Version: tls.VersionTLS13, PeerCertificates: []*x509.Certificate{own.Leaf}}
	if _, ok := PeerKey(state); ok {
		t.Error("a key counts before its owner proved it")
	}
	state.HandshakeComplete = true
	if _, ok := PeerKey(state); !ok {
		t.Error("a proved key does not count")
	}
	if _, ok := PeerKey(tls.ConnectionState{HandshakeComplete: true, Version: tls.VersionTLS13}); ok {
		t.Error("no certificate gave a key")
	}
}

// dial connects to a mux as a peer would.
func dial(ctx context.Context, addr string, cfg *tls.Config) (*tls.Conn, error) {
	d := tls.Dialer{Config: cfg}
	conn, err := d.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, err
	}
	return conn.(*tls.Conn), nil
}
