package replica

import (
	"context"
	"errors"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"

	"yardhasp/client/pin"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// caller is who calls, known by the key of the TLS connection.
type caller struct {
	key    []byte
	person string
	yard   string
}

type callerKey struct{}

func callerOf(ctx context.Context) caller {
	c, _ := ctx.Value(callerKey{}).(caller)
	return c
}

// open lists the calls that need no enrolled key: joining, and health.
var open = map[string]bool{
	servicev1.MembershipService_Join_FullMethodName: true,
	"/grpc.health.v1.Health/Check":                  true,
	"/grpc.health.v1.Health/Watch":                  true,
}

// KeyNotEnrolled: the key of the connection is unknown here, or does not count any
// more.
var KeyNotEnrolled = code.New("KEY_NOT_ENROLLED", code.Row{Who: "a-manager", Answer: code.NotSigned})

// identify decides by the key who may call what. A person may read and submit. Only a
// yard's replica may call PeerService.
func (r *Replica) identify(ctx context.Context, method string) (context.Context, error) {
	p, ok := peer.FromContext(ctx)
	if !ok {
		return nil, status.Error(codes.Unauthenticated, "no connection")
	}
	info, ok := p.AuthInfo.(credentials.TLSInfo)
	if !ok {
		return nil, status.Error(codes.Unauthenticated, "this port speaks TLS only")
	}
	key, ok := pin.PeerKey(info.State)
	if !ok {
		return nil, status.Error(codes.Unauthenticated, "the connection shows no key")
	}
	c := caller{key: key}
	find := func() bool {
		r.node.View(func(s *ledger.State, _ uint64) {
			if k := s.KeyOf(key); k != nil && k.Revoked == 0 {
				c.person, c.yard = k.Person, k.Yard
			}
		})
		return c.person != "" || c.yard != ""
	}
	if !find() && !open[method] && r.askAbout(ctx) {
		find()
	}
	if y, known := r.directory.yardOf(key); known && c.yard == "" {
		c.yard = y
	}
	switch {
	case open[method]:
	case c.person == "" && c.yard == "":
		return nil, answer(codes.Unauthenticated, KeyNotEnrolled.About(""))
	case isPeerMethod(method) && c.yard == "":
		return nil, status.Error(codes.PermissionDenied, "only a yard's replica makes this call")
	}
	return context.WithValue(ctx, callerKey{}, c), nil
}

// enrolled reports whether a caller's key still counts.
func (r *Replica) enrolled(c caller) (ok bool) {
	r.node.View(func(s *ledger.State, _ uint64) {
		k := s.KeyOf(c.key)
		ok = k != nil && k.Revoked == 0
	})
	if !ok {
		_, ok = r.directory.yardOf(c.key)
	}
	return ok
}

// askAbout brings the state up to date for an unknown key, which may just have joined
// at another yard. Only a few unknown callers get this at a time. Otherwise strangers
// could keep the other yards busy.
func (r *Replica) askAbout(ctx context.Context) bool {
	select {
	case r.strangers <- struct{}{}:
	default:
		return false
	}
	defer func() { <-r.strangers }()
	return r.catchUp(ctx)
}

func isPeerMethod(m string) bool {
	return strings.HasPrefix(m, "/"+servicev1.PeerService_ServiceDesc.ServiceName+"/")
}

func (r *Replica) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (res any, err error) {
	ctx, err = r.identify(ctx, info.FullMethod)
	if err != nil {
		return nil, err
	}
	defer func() {
		if p := recover(); p != nil {
			r.log.Error("a call failed inside", "method", info.FullMethod, "panic", p)
			err = status.Error(codes.Internal, "the call failed inside this replica; nothing can be said of its outcome")
		}
	}()
	return next(ctx, req)
}

func (r *Replica) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) (err error) {
	ctx, err := r.identify(ss.Context(), info.FullMethod)
	if err != nil {
		return err
	}
	// A stop must end every stream, also those of the health service.
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	defer context.AfterFunc(r.ctx, cancel)()
	defer func() {
		if p := recover(); p != nil {
			r.log.Error("a call failed inside", "method", info.FullMethod, "panic", p)
			err = status.Error(codes.Internal, "the call failed inside this replica")
		}
	}()
	err = next(srv, &identified{ss, ctx})
	if r.ctx.Err() != nil && (errors.Is(err, context.Canceled) || status.Code(err) == codes.Canceled) {
		return stopping()
	}
	return err
}

type identified struct {
	grpc.ServerStream
	ctx context.Context
}

func (i *identified) Context() context.Context { return i.ctx }
