package pin

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"

	"google.golang.org/grpc/credentials"
)

// GRPCServerCreds is for a grpc.Server that serves Mux.Listener(ALPNClient). Its
// connections arrive with a finished handshake, and handlers get their state as
// credentials.TLSInfo. It refuses any other connection.
//
// The client side is credentials.NewTLS(ClientConfig(key, serverKeys, ALPNClient)).
func GRPCServerCreds() credentials.TransportCredentials { return serverCreds{} }

type serverCreds struct{}

func (serverCreds) ServerHandshake(raw net.Conn) (net.Conn, credentials.AuthInfo, error) {
	conn, ok := raw.(*tls.Conn)
	if !ok {
		return nil, nil, fmt.Errorf("take a connection for gRPC: it is a %T, not TLS; serve the listener of a pin.Mux", raw)
	}
	state := conn.ConnectionState()
	if _, ok := PeerKey(state); !ok {
		return nil, nil, errors.New("take a connection for gRPC: the caller has proved no Ed25519 key; serve the listener of a pin.Mux")
	}
	return conn, credentials.TLSInfo{
		State:          state,
		CommonAuthInfo: credentials.CommonAuthInfo{SecurityLevel: credentials.PrivacyAndIntegrity},
	}, nil
}

func (serverCreds) ClientHandshake(context.Context, string, net.Conn) (net.Conn, credentials.AuthInfo, error) {
	return nil, nil, errors.New("call by gRPC: these credentials only serve; call with credentials.NewTLS and ClientConfig")
}

func (serverCreds) Info() credentials.ProtocolInfo {
	return credentials.ProtocolInfo{SecurityProtocol: "tls"}
}

func (c serverCreds) Clone() credentials.TransportCredentials { return c }

// OverrideServerName is required by the interface. Servers have no use for it.
func (serverCreds) OverrideServerName(string) error { return nil }
