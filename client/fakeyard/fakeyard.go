// Package fakeyard stands in for a yard's replica in tests of its callers: real gRPC
// over real pinned TLS, with answers that the test gives. It knows no rules.
package fakeyard

import (
	"context"
	"crypto/ed25519"
	"net"
	"sync"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"yardhasp/client/pin"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Yard answers as its On fields say. A nil field answers codes.Unimplemented. Set the
// fields before Serve.
type Yard struct {
	ID  string
	Key ed25519.PrivateKey

	// OnSubmit receives the number of the call, from 1.
	OnSubmit     func(n int, r *servicev1.SubmitRequest) (*servicev1.Receipt, error)
	OnReceipt    func(r *servicev1.GetReceiptRequest) (*servicev1.Receipt, error)
	OnPanel      func(point string) (*servicev1.GetPanelResponse, error)
	OnBoard      func(r *servicev1.GetBoardRequest) (*recordv1.Board, error)
	OnJob        func(r *servicev1.GetJobRequest) (*recordv1.JobView, error)
	OnPlan       func(r *servicev1.PlanRequest) (*servicev1.PlanResponse, error)
	OnEnergyNow  func(yard string) (*servicev1.GetEnergyNowResponse, error)
	OnDrawing    func(yard string) (*servicev1.GetDrawingResponse, error)
	OnCheckpoint func() (string, error)
	OnMembers    func() (*servicev1.GetMembersResponse, error)
	OnJoin       func(r *servicev1.JoinRequest) (*servicev1.JoinResponse, error)
	// OnWatch and OnExport return what to send and the error that ends the stream.
	OnWatch  func(from uint64) ([]*recordv1.Outcome, error)
	OnExport func(from, to uint64) ([][]byte, error)

	mu      sync.Mutex
	submits [][]byte
	runs    []string
	conns   map[net.Conn]bool
	server  *grpc.Server
}

// Serve answers on lis until Stop. It returns at once.
func (y *Yard) Serve(lis net.Listener) {
	y.mu.Lock()
	y.conns = map[net.Conn]bool{}
	y.server = grpc.NewServer(grpc.Creds(credentials.NewTLS(pin.ServerConfig(y.Key, nil, pin.ALPNClient))))
	server := y.server
	y.mu.Unlock()
	servicev1.RegisterLedgerServiceServer(server, &ledgerServer{y: y})
	servicev1.RegisterMembershipServiceServer(server, &membershipServer{y: y})
	go server.Serve(&listener{lis, y})
}

// Public is the yard's replica key.
func (y *Yard) Public() []byte { return y.Key.Public().(ed25519.PublicKey) }

// Stop ends everything immediately.
func (y *Yard) Stop() {
	y.mu.Lock()
	server := y.server
	y.mu.Unlock()
	if server != nil {
		server.Stop()
	}
}

// Cut breaks every connection. New connections are still accepted.
func (y *Yard) Cut() {
	y.mu.Lock()
	defer y.mu.Unlock()
	for c := range y.conns {
		c.Close()
		delete(y.conns, c)
	}
}

// Submits are the records that arrived, in order.
func (y *Yard) Submits() [][]byte {
	y.mu.Lock()
	defer y.mu.Unlock()
	return append([][]byte(nil), y.submits...)
}

// Runs are the runs that came with them.
func (y *Yard) Runs() []string {
	y.mu.Lock()
	defer y.mu.Unlock()
	return append([]string(nil), y.runs...)
}

// Refuse is the error with which a replica answers a refused record.
func Refuse(out *recordv1.Outcome) error {
	pre := &errdetails.PreconditionFailure{}
	for _, c := range out.GetConditions() {
		pre.Violations = append(pre.Violations, &errdetails.PreconditionFailure_Violation{Type: c.GetCode(), Subject: c.GetSubject()})
	}
	return with(codes.FailedPrecondition, "refused", out, pre)
}

// Fail is an error with an ErrorInfo; home is the metadata "yard", if any.
func Fail(answer codes.Code, reason code.Code, text, home string) error {
	info := &errdetails.ErrorInfo{Reason: string(reason), Domain: "yardhasp"}
	if home != "" {
		info.Metadata = map[string]string{"yard": home}
	}
	return with(answer, text, info)
}

func with(code codes.Code, text string, details ...protoadapt.MessageV1) error {
	s, err := status.New(code, text).WithDetails(details...)
	if err != nil {
		return err
	}
	return s.Err()
}

// listener remembers the connections for Cut.
type listener struct {
	net.Listener
	y *Yard
}

func (l *listener) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err == nil {
		l.y.mu.Lock()
		l.y.conns[c] = true
		l.y.mu.Unlock()
	}
	return c, err
}

var errNone = status.Error(codes.Unimplemented, "this test's yard does not answer that")

type membershipServer struct {
	servicev1.UnimplementedMembershipServiceServer
	y *Yard
}

func (s *membershipServer) GetMembers(context.Context, *servicev1.GetMembersRequest) (*servicev1.GetMembersResponse, error) {
	if s.y.OnMembers == nil {
		return nil, errNone
	}
	return s.y.OnMembers()
}

func (s *membershipServer) Join(_ context.Context, r *servicev1.JoinRequest) (*servicev1.JoinResponse, error) {
	if s.y.OnJoin == nil {
		return nil, errNone
	}
	return s.y.OnJoin(r)
}
