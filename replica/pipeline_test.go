package replica_test

import (
	"errors"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"

	"github.com/hashicorp/go-hclog"
	"github.com/hashicorp/raft"

	"yardhasp/replica"
)

// pipes is a raft stream layer in memory: dial reaches the other end's Accept.
type pipes struct {
	in, out chan net.Conn
	done    chan struct{}
}

func (p *pipes) Accept() (net.Conn, error) {
	select {
	case c := <-p.in:
		return c, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Dial(raft.ServerAddress, time.Duration) (net.Conn, error) {
	near, far := net.Pipe()
	select {
	case p.out <- far:
		return near, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p *pipes) Close() error   { close(p.done); return nil }
func (p *pipes) Addr() net.Addr { return &net.UnixAddr{Name: "memory"} }

// TestRefusedPipeline: a follower refuses entries, nobody reads its answers any
// more, and the leader's next sends still return, as hashicorp/raft issue 612 says
// that they did not; and raft finds pre-vote in the transport.
func TestRefusedPipeline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		there, back := make(chan net.Conn), make(chan net.Conn)
		open := func(in, out chan net.Conn) *raft.NetworkTransport {
			return raft.NewNetworkTransportWithConfig(&raft.NetworkTransportConfig{Stream: &pipes{in, out, make(chan struct{})},
				MaxPool: 3, MaxRPCsInFlight: 2, Timeout: 5 * time.Second, Logger: hclog.NewNullLogger()})
		}
		leader, follower := open(back, there), open(there, back)
		defer leader.Close()
		defer follower.Close()
		ctx := t.Context()
		go func() {
			for {
				select {
				case rpc := <-follower.Consumer():
					rpc.Respond(&raft.AppendEntriesResponse{Term: 1}, nil)
				case <-ctx.Done():
					return
				}
			}
		}()
		trans := replica.Patient(leader)
		if _, ok := trans.(raft.WithPreVote); !ok {
			t.Error("raft finds no pre-vote in the transport")
		}
		p, err := trans.AppendEntriesPipeline("follower", "follower")
		if err != nil {
			t.Fatal(err)
		}
		sent := make(chan error, 1)
		go func() {
			var err error
			for range 8 {
				_, e := p.AppendEntries(&raft.AppendEntriesRequest{Term: 1, RPCHeader: raft.RPCHeader{ProtocolVersion: 3, Addr: []byte("leader")}}, &raft.AppendEntriesResponse{})
				err = errors.Join(err, e)
			}
			sent <- err
		}()
		select {
		case err := <-sent:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(time.Minute):
			t.Error("a send has waited for a minute")
		}
		// What was kept comes in order, all of it.
		for i := range 8 {
			select {
			case f := <-p.Consumer():
				if f.Response().Success {
					t.Errorf("answer %d is not the follower's", i)
				}
			case <-time.After(time.Minute):
				t.Fatalf("answer %d is lost", i)
			}
		}
		if err := p.Close(); err != nil && !errors.Is(err, io.ErrClosedPipe) {
			t.Error(err)
		}
	})
}
