package client_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client"
	"yardhasp/client/fakeyard"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// The own yard is down: the next one answers, the board is kept, and what is kept
// is never confirmed.
func TestBoardFromNextYardAndKept(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["millrow"].OnBoard = func(*servicev1.GetBoardRequest) (*recordv1.Board, error) {
			return &recordv1.Board{AsOf: &recordv1.AsOf{Confirmed: true, Yard: "millrow", ReadUnixMs: 77}, Coop: "Three Forks Grain Co-op"}, nil
		}
		n.takeDown("eastfork")
		c, end := n.start()
		defer end()
		b, err := c.Board(soon(t), 0, "")
		if err != nil || b.GetAsOf().GetYard() != "millrow" {
			t.Fatalf("board %v, error %v", b, err)
		}
		kept, saved, err := c.LastBoard()
		if err != nil || kept.GetCoop() != b.GetCoop() || !saved.Equal(time.Now()) {
			t.Fatalf("kept %v at %v, error %v", kept, saved, err)
		}
		if kept.GetAsOf().GetConfirmed() || kept.GetAsOf().GetConfirmedUnixMs() != 77 {
			t.Errorf("the kept board says it is confirmed, or since when it isn't: %v", kept.GetAsOf())
		}
	})
}

// A yard that takes the call and says nothing does not use up all the time.
func TestHangingYard(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		free := make(chan struct{})
		n.yards["eastfork"].OnBoard = func(*servicev1.GetBoardRequest) (*recordv1.Board, error) {
			<-free
			return nil, status.Error(codes.Internal, "late")
		}
		n.yards["millrow"].OnBoard = func(*servicev1.GetBoardRequest) (*recordv1.Board, error) { return &recordv1.Board{Coop: "c"}, nil }
		c, end := n.start()
		defer end()
		defer close(free)
		if _, err := c.Board(soon(t), 0, ""); err != nil {
			t.Error(err)
		}
	})
}

// Not found is an answer only when every yard gave it: one that is down may have
// the record.
func TestReceiptNotFound(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		for _, y := range n.yards {
			y.OnReceipt = func(*servicev1.GetReceiptRequest) (*servicev1.Receipt, error) {
				return nil, fakeyard.Fail(codes.NotFound, "", "no such ticket", "")
			}
		}
		c, end := n.start()
		defer end()
		_, err := c.Receipt(soon(t), "tablet-1", 4, "")
		var answer *client.Answer
		if !errors.As(err, &answer) || answer.Code != codes.NotFound {
			t.Errorf("error %v, want not found", err)
		}
		n.takeDown("stonebend")
		_, err = c.Receipt(soon(t), "tablet-1", 4, "")
		var nobody *client.Unreachable
		if !errors.As(err, &nobody) {
			t.Errorf("with a yard down: error %v, want unreachable", err)
		}
	})
}

// A replica with another key than the pinned one is not spoken to.
func TestPinnedKey(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		for _, y := range n.yards {
			y.Key = keyOf("impostor")
			y.OnBoard = func(*servicev1.GetBoardRequest) (*recordv1.Board, error) { return &recordv1.Board{}, nil }
		}
		c, end := n.start()
		defer end()
		var nobody *client.Unreachable
		if _, err := c.Board(soon(t), 0, ""); !errors.As(err, &nobody) {
			t.Errorf("error %v, want unreachable", err)
		}
	})
}

// The watch goes on at another yard where it was: every index once, in order.
func TestWatchResumes(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		send := func(from, to uint64) (out []*recordv1.Outcome) {
			for i := from; i < to; i++ {
				out = append(out, &recordv1.Outcome{Index: i})
			}
			return out
		}
		n.yards["eastfork"].OnWatch = func(from uint64) ([]*recordv1.Outcome, error) {
			return send(from, 5), status.Error(codes.Unavailable, "restarting")
		}
		n.yards["millrow"].OnWatch = func(from uint64) ([]*recordv1.Outcome, error) {
			// It sends one too early, as a yard that rounds down to a block might.
			return send(from-1, 8), status.Error(codes.Unavailable, "restarting")
		}
		n.yards["stonebend"].OnWatch = func(from uint64) ([]*recordv1.Outcome, error) {
			return send(from, 10), status.Error(codes.Unavailable, "restarting")
		}
		c, end := n.start()
		defer end()
		var got []uint64
		stop := errors.New("enough")
		err := c.Watch(soon(t), 2, func(o *recordv1.Outcome) error {
			got = append(got, o.GetIndex())
			if o.GetIndex() == 9 {
				return stop
			}
			return nil
		}, nil)
		if err != stop || !slices.Equal(got, []uint64{2, 3, 4, 5, 6, 7, 8, 9}) {
			t.Errorf("got %v, error %v", got, err)
		}
	})
}

// A gap is an error, not a silence.
func TestWatchGap(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnWatch = func(uint64) ([]*recordv1.Outcome, error) {
			return []*recordv1.Outcome{{Index: 0}, {Index: 2}}, nil
		}
		c, end := n.start()
		defer end()
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		err := c.Watch(ctx, 0, func(*recordv1.Outcome) error { return nil }, nil)
		if err == nil || !strings.Contains(err.Error(), "left out entries 1 to 1") {
			t.Errorf("error %v, want one that names entry 1", err)
		}
	})
}

// What an unconfirmed answer permits is not passed on (design.md); a confirmed
// one is left alone.
func TestWithhold(t *testing.T) {
	build := func(confirmed bool) *recordv1.Board {
		q := &recordv1.RequestView{Id: "r", State: recordv1.RequestState_REQUEST_STATE_APPROVED}
		return &recordv1.Board{AsOf: &recordv1.AsOf{Confirmed: confirmed}, Requests: []*recordv1.RequestView{q},
			Jobs: []*recordv1.JobView{{Id: "j", Stage: recordv1.Stage_STAGE_WORK_MAY_START}, {Id: "k", Stage: recordv1.Stage_STAGE_APPROVED}, {Id: "l", Stage: recordv1.Stage_STAGE_LOCKED}}}
	}
	b := build(false)
	client.WithholdBoard(b)
	for _, j := range b.GetJobs() {
		if len(j.GetToStart()) == 0 || len(j.GetToEnergise()) == 0 {
			t.Errorf("job %s: an empty list of what is missing reads as permission", j.GetId())
		}
	}
	if b.Jobs[0].GetStage() != 0 || b.Jobs[1].GetStage() != 0 || b.Requests[0].GetState() != 0 {
		t.Errorf("permission is left: %v", b)
	}
	if b.Jobs[2].GetStage() != recordv1.Stage_STAGE_LOCKED {
		t.Error("a stage that permits nothing is gone")
	}
	b = build(true)
	client.WithholdBoard(b)
	if b.Jobs[0].GetStage() != recordv1.Stage_STAGE_WORK_MAY_START || b.Requests[0].GetState() != recordv1.RequestState_REQUEST_STATE_APPROVED {
		t.Errorf("a confirmed board was changed: %v", b)
	}
	p := &servicev1.GetPanelResponse{Point: "millrow/mcc-1/fan", Yard: "eastfork", GoAhead: true, Means: &recordv1.Finding{Code: "GO_AHEAD"}}
	client.WithholdPanel(p)
	if p.GetGoAhead() || p.GetMeans() != nil || !code.Has(p.GetAgainst(), client.NotThePanelsYard) {
		t.Errorf("another yard's go-ahead is left: %v", p)
	}
	p = &servicev1.GetPanelResponse{Point: "millrow/mcc-1/fan", Yard: "millrow", GoAhead: true}
	client.WithholdPanel(p)
	if !p.GetGoAhead() {
		t.Error("the panel's own yard gives a go-ahead, and it is gone")
	}
}
