// Package pin carries yardhasp's connections: TLS 1.3 both ways, with certificates made
// on the spot from Ed25519 keys. No authority outside the ledger is asked. Each side
// proves by TLS that it has its private key. The other side decides by that key alone,
// from the ledger's own registry. Names, dates and signatures in a certificate count for
// nothing.
package pin

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"time"
)

// These protocols are spoken on a replica's one port. ALPN (RFC 7301) tells them apart.
const (
	// ALPNClient is gRPC; "h2" is HTTP/2 over TLS, RFC 9113 section 3.2.
	ALPNClient = "h2"
	// ALPNPeer is raft between replicas.
	ALPNPeer = "yardhasp-raft/1"
)

var (
	// Yard clocks may be wrong by years, and nobody checks these dates.
	notBefore = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	// RFC 5280 section 4.1.2.5: the date for "no good expiry date".
	notAfter = time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC)
)

// Certificate makes the self-signed certificate of a key. The same key gives the same
// certificate, because Ed25519 signatures (RFC 8032) and every field follow from the
// key. It fails only for an incomplete key.
func Certificate(key ed25519.PrivateKey) (tls.Certificate, error) {
	if len(key) != ed25519.PrivateKeySize {
		return tls.Certificate{}, fmt.Errorf("make a certificate: the private key has %d bytes, not %d; read it from its key file again",
			len(key), ed25519.PrivateKeySize)
	}
	public := ed25519.PublicKey(key[ed25519.PrivateKeySize-ed25519.PublicKeySize:])
	print := sha256.Sum256(public)
	// 127 bits at most: positive and within the 20 octets of RFC 5280 section 4.1.2.2.
	serial := new(big.Int).SetBytes(print[:16])
	serial.SetBit(serial, 127, 0).SetBit(serial, 0, 1)
	template := &x509.Certificate{
		SerialNumber:          serial,
		Subject:               pkix.Name{CommonName: "yardhasp"},
		NotBefore:             notBefore,
		NotAfter:              notAfter,
		KeyUsage:              x509.KeyUsageDigitalSignature,
		ExtKeyUsage:           []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
		BasicConstraintsValid: true,
		DNSNames:              []string{"yardhasp"},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, public, key)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("make a certificate: %w", err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("make a certificate: %w", err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key, Leaf: leaf}, nil
}

// ClientConfig is the configuration for calling a replica. It shows key, and continues
// only with a server whose key serverKeys accepts. A nil serverKeys accepts none. If
// alpn is given, the server must choose one of these protocols. With an incomplete key
// every handshake fails.
func ClientConfig(key ed25519.PrivateKey, serverKeys func(key []byte) bool, alpn ...string) *tls.Config {
	cfg := base(alpn)
	own, err := Certificate(key)
	cfg.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) {
		return &own, err
	}
	// No chain to an authority exists. VerifyConnection below decides.
	cfg.InsecureSkipVerify = true
	protocols := slices.Clone(alpn)
	cfg.VerifyConnection = func(state tls.ConnectionState) error {
		public, err := leafKey(state)
		if err != nil {
			return fmt.Errorf("check the server: %w", err)
		}
		if serverKeys == nil || !serverKeys(public) {
			return errors.New("check the server: its key is not the one pinned for it; do not go on, ask the yard for its fingerprint")
		}
		if len(protocols) > 0 && !slices.Contains(protocols, state.NegotiatedProtocol) {
			return fmt.Errorf("check the server: it speaks none of %q", protocols)
		}
		return nil
	}
	return cfg
}

// ServerConfig is the configuration of a replica. It shows key, and lets in only callers
// that prove a key that clientKeys accepts. A nil clientKeys lets in any key, and the
// service must decide by PeerKey. With an incomplete key every handshake fails.
func ServerConfig(key ed25519.PrivateKey, clientKeys func(key []byte) bool, alpn ...string) *tls.Config {
	cfg := base(alpn)
	own, err := Certificate(key)
	cfg.GetCertificate = func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		return &own, err
	}
	cfg.ClientAuth = tls.RequireAnyClientCert
	cfg.VerifyConnection = func(state tls.ConnectionState) error {
		public, err := leafKey(state)
		if err != nil {
			return fmt.Errorf("check the caller: %w", err)
		}
		if clientKeys != nil && !clientKeys(public) {
			return errors.New("check the caller: its key is not enrolled here; join by invitation first")
		}
		return nil
	}
	return cfg
}

// base refuses TLS before 1.3, and resumption. Each connection proves its key again, so
// that a revoked key does not live on in a session ticket.
func base(alpn []string) *tls.Config {
	return &tls.Config{
		MinVersion:             tls.VersionTLS13,
		NextProtos:             slices.Clone(alpn),
		SessionTicketsDisabled: true,
	}
}

// PeerKey is the key that the other side proved in a finished handshake. It is false
// when the handshake is not finished, or the other side showed no such key.
func PeerKey(state tls.ConnectionState) (ed25519.PublicKey, bool) {
	if !state.HandshakeComplete || state.Version < tls.VersionTLS13 {
		return nil, false
	}
	public, err := leafKey(state)
	return public, err == nil
}

func leafKey(state tls.ConnectionState) (ed25519.PublicKey, error) {
	if len(state.PeerCertificates) != 1 {
		return nil, fmt.Errorf("it shows %d certificates, not exactly one", len(state.PeerCertificates))
	}
	public, ok := state.PeerCertificates[0].PublicKey.(ed25519.PublicKey)
	if !ok || len(public) != ed25519.PublicKeySize {
		return nil, fmt.Errorf("its key is of type %v, not Ed25519", state.PeerCertificates[0].PublicKeyAlgorithm)
	}
	return public, nil
}
