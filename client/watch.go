package client

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc/codes"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// watchPause is how long Watch waits when no yard answered.
const watchPause = 2 * time.Second

// Watch gives every outcome from an index on to each, in order and once. After a lost
// connection it calls lostTo, which may be nil, and continues where it stopped, if
// necessary at another yard. It ends with ctx or with an error of each.
func (c *Client) Watch(ctx context.Context, from uint64, each func(*recordv1.Outcome) error, lostTo func(yard string, err error)) error {
	for {
		for _, y := range c.order() {
			next, err := c.watchAt(ctx, y, from, each)
			from = next
			if ctx.Err() != nil {
				return ctx.Err()
			}
			var own *ownError
			if errors.As(err, &own) {
				return own.err
			}
			var answer *Answer
			if errors.As(err, &answer) && answer.Reason == "" && answer.Code != codes.ResourceExhausted {
				return err
			}
			if lostTo != nil {
				lostTo(y.ID, err)
			}
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(watchPause):
		}
	}
}

// ownError is an error of the caller's function, or a wrong order of entries.
type ownError struct{ err error }

func (e *ownError) Error() string { return e.err.Error() }

func (c *Client) watchAt(ctx context.Context, y Yard, from uint64, each func(*recordv1.Outcome) error) (uint64, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	conn, err := c.reach(ctx, y, false)
	if err != nil {
		return from, err
	}
	stream, err := servicev1.NewLedgerServiceClient(conn).Watch(ctx, &servicev1.WatchRequest{From: from})
	if err != nil {
		return from, decode(y.ID, err)
	}
	for {
		m, err := stream.Recv()
		if err != nil {
			return from, decode(y.ID, err)
		}
		switch i := m.GetOutcome().GetIndex(); {
		case i < from:
			continue
		case i > from:
			return from, &ownError{fmt.Errorf("%s left out entries %d to %d: the watch would not be complete", y.ID, from, i-1)}
		}
		if err := each(m.GetOutcome()); err != nil {
			return from, &ownError{err}
		}
		from++
	}
}
