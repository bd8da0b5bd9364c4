package client_test

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"net"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/test/bufconn"

	"yardhasp/client"
	"yardhasp/client/fakeyard"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// keyOf makes a key from a word, so that a failing test repeats.
func keyOf(word string) ed25519.PrivateKey {
	sum := sha256.Sum256([]byte(word))
	return ed25519.NewKeyFromSeed(sum[:])
}

// net3 is three yards on in-memory connections and a client at eastfork.
type net3 struct {
	t       *testing.T
	state   string
	profile *client.Profile
	yards   map[string]*fakeyard.Yard
	tickets client.TicketSource

	mu   sync.Mutex
	lis  map[string]*bufconn.Listener
	down map[string]bool
}

func newNet(t *testing.T) *net3 {
	t.Helper()
	id := sha256.Sum256([]byte("ledger"))
	n := &net3{t: t, state: filepath.Join(t.TempDir(), "state"), yards: map[string]*fakeyard.Yard{},
		lis: map[string]*bufconn.Listener{}, down: map[string]bool{}, tickets: client.NewMemoryTickets("tablet-1")}
	n.profile = &client.Profile{Ledger: id[:], Coop: "Three Forks Grain Co-op", Person: "ann-dahl", Key: "key", Yard: "eastfork", Device: "tablet-1"}
	for _, y := range []string{"eastfork", "millrow", "stonebend"} {
		key := keyOf(y)
		n.profile.Yards = append(n.profile.Yards, client.Yard{ID: y, Address: y + ":7420", Key: key.Public().(ed25519.PublicKey)})
		n.yards[y] = &fakeyard.Yard{ID: y, Key: key}
	}
	return n
}

// start serves every yard that is not down and makes the client; end it all with
// the function it returns, inside a synctest bubble.
func (n *net3) start(opts ...client.Option) (*client.Client, func()) {
	n.t.Helper()
	for id, y := range n.yards {
		l := bufconn.Listen(1 << 20)
		n.lis[id+":7420"] = l
		y.Serve(l)
	}
	opts = append([]client.Option{client.WithDialer(n.dial), client.WithState(n.state)}, opts...)
	c, err := client.New(n.profile, keyOf("ann"), n.tickets, opts...)
	if err != nil {
		n.t.Fatal(err)
	}
	return c, func() {
		c.Close()
		for _, y := range n.yards {
			y.Stop()
		}
	}
}

func (n *net3) dial(ctx context.Context, address string) (net.Conn, error) {
	n.mu.Lock()
	l, down := n.lis[address], n.down[address]
	n.mu.Unlock()
	if down {
		return nil, &net.OpError{Op: "dial", Err: net.ErrClosed}
	}
	return l.DialContext(ctx)
}

// takeDown makes a yard unreachable and breaks what connections it has.
func (n *net3) takeDown(yards ...string) {
	n.mu.Lock()
	for _, y := range yards {
		n.down[y+":7420"] = true
	}
	n.mu.Unlock()
	for _, y := range yards {
		n.yards[y].Cut()
	}
}

func (n *net3) putUp(yards ...string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	for _, y := range yards {
		delete(n.down, y+":7420")
	}
}

func lockOn(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Padlock: "p-17", Job: "boot"}}}
}

func request() *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: "r-1", Job: "boot", Points: []string{"millrow/mcc-1/leg-2"}, DeadlineUnixMs: 5}}}
}

func confirmed(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
	return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED}, nil
}

func soon(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	t.Cleanup(cancel)
	return ctx
}
