package client

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (c *Client) public() ed25519.PublicKey { return c.key.Public().(ed25519.PublicKey) }

// ask tries the yards in turn until one answers. Each yard gets a share of the time
// left, so that one that hangs does not use it all.
func ask[T any](ctx context.Context, c *Client, yards []Yard, call func(context.Context, *grpc.ClientConn) (T, error)) (T, error) {
	var none T
	var tried []Attempt
	for i, y := range yards {
		got, err := askOne(ctx, c, y, len(yards)-i, call)
		if err == nil {
			return got, nil
		}
		var answer *Answer
		if errors.As(err, &answer) && answer.Reason != ReasonNoQuorum && answer.Reason != ReasonNotServing {
			return none, err
		}
		tried = append(tried, Attempt{y.ID, err})
	}
	return none, &Unreachable{tried}
}

func askOne[T any](ctx context.Context, c *Client, y Yard, share int, call func(context.Context, *grpc.ClientConn) (T, error)) (T, error) {
	if end, ok := ctx.Deadline(); ok {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Until(end)/time.Duration(share))
		defer cancel()
	}
	conn, err := c.reach(ctx, y, false)
	if err != nil {
		var none T
		return none, err
	}
	got, err := call(ctx, conn)
	if err != nil {
		return got, decode(y.ID, err)
	}
	return got, nil
}

// Board reads what is on at every yard, or at one yard. A board of all yards is kept for
// LastBoard.
func (c *Client) Board(ctx context.Context, how servicev1.Consistency, yard string) (*recordv1.Board, error) {
	b, err := ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) (*recordv1.Board, error) {
		r, err := servicev1.NewLedgerServiceClient(conn).GetBoard(ctx, &servicev1.GetBoardRequest{Consistency: how, Yard: yard})
		return r.GetBoard(), err
	})
	if err == nil && ledger.Outsider(b, c.profile.Person) {
		b = ledger.ContractorView(b, c.profile.Person)
	}
	if err == nil && yard == "" && c.state != "" {
		// The caller gets the board even if it cannot be kept.
		_ = c.keepBoard(b)
	}
	return b, err
}

// Job reads one job.
func (c *Client) Job(ctx context.Context, id string, how servicev1.Consistency) (*recordv1.JobView, error) {
	return ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) (*recordv1.JobView, error) {
		r, err := servicev1.NewLedgerServiceClient(conn).GetJob(ctx, &servicev1.GetJobRequest{Job: id, Consistency: how})
		return r.GetJob(), err
	})
}

// Panel reads what a person at a point's panel needs. It asks only the home yard,
// because no other yard can tell.
func (c *Client) Panel(ctx context.Context, point string) (*servicev1.GetPanelResponse, error) {
	return c.panelAt(ctx, point, ledger.YardOf(point))
}

func (c *Client) panelAt(ctx context.Context, point, yard string) (*servicev1.GetPanelResponse, error) {
	y, ok := c.profile.YardByID(yard)
	if !ok {
		return nil, fmt.Errorf("%s: yard %q is not in your profile, and only the point's own yard can tell: write it as yard/panel/device, or add the yard with \"yardhasp status --update-profile\"", point, yard)
	}
	return ask(ctx, c, []Yard{y}, func(ctx context.Context, conn *grpc.ClientConn) (*servicev1.GetPanelResponse, error) {
		return servicev1.NewLedgerServiceClient(conn).GetPanel(ctx, &servicev1.GetPanelRequest{Point: point})
	})
}

// Members reads who counts for a quorum and who is alive, as one yard sees it. If yard
// is empty, it takes the first yard that answers.
func (c *Client) Members(ctx context.Context, yard string) (*servicev1.GetMembersResponse, error) {
	return ask(ctx, c, c.order(yard), func(ctx context.Context, conn *grpc.ClientConn) (*servicev1.GetMembersResponse, error) {
		return servicev1.NewMembershipServiceClient(conn).GetMembers(ctx, &servicev1.GetMembersRequest{})
	})
}

// Plan computes, on the current drawings, what isolates a zone. If points are given, it
// computes whether they do.
func (c *Client) Plan(ctx context.Context, req *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
	return ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) (*servicev1.PlanResponse, error) {
		return servicev1.NewLedgerServiceClient(conn).Plan(ctx, req)
	})
}

// EnergyNow reads what is live with the points as the ledger has them. If yard is given,
// it reads only what is there.
func (c *Client) EnergyNow(ctx context.Context, yard string) (*servicev1.GetEnergyNowResponse, error) {
	return ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) (*servicev1.GetEnergyNowResponse, error) {
		return servicev1.NewLedgerServiceClient(conn).GetEnergyNow(ctx, &servicev1.GetEnergyNowRequest{Yard: yard})
	})
}

// Drawing reads a yard's current drawing.
func (c *Client) Drawing(ctx context.Context, yard string) (*servicev1.GetDrawingResponse, error) {
	return ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) (*servicev1.GetDrawingResponse, error) {
		return servicev1.NewLedgerServiceClient(conn).GetDrawing(ctx, &servicev1.GetDrawingRequest{Yard: yard})
	})
}

// Checkpoint reads the newest signed checkpoint, a C2SP signed note.
func (c *Client) Checkpoint(ctx context.Context) (string, error) {
	return ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) (string, error) {
		r, err := servicev1.NewLedgerServiceClient(conn).GetCheckpoint(ctx, &servicev1.GetCheckpointRequest{})
		return r.GetNote(), err
	})
}
