package replica_test

import (
	"context"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
	"yardhasp/replica/quorum"
)

// eager takes snapshots all the time and keeps hardly any log behind them.
func eager(c *cluster) {
	c.tune = func(cfg *replica.Config) {
		t := quorum.Profiles["lan"]
		t.SnapshotEvery, t.SnapshotThreshold, t.TrailingLogs = 100*time.Millisecond, 8, 4
		cfg.Timers = &t
	}
}

func (c *cluster) snapshots(yard string) int {
	c.t.Helper()
	got, err := filepath.Glob(filepath.Join(c.dirs[yard], "snapshots", "*", "state.bin"))
	if err != nil {
		c.t.Fatal(err)
	}
	return len(got)
}

// TestSnapshots: a restart from a snapshot, a fourth yard after the log was cut
// off, and a history lost in a crash: each comes to the same leaves and root
// (decisions.md 26).
func TestSnapshots(t *testing.T) {
	t.Parallel()
	c := three(t, eager)
	c.twoPoints()
	c.do("ravi", "millrow", lockOn(legOne, "", ""))
	for i := range 40 {
		c.do("nia", "stonebend", actPadlock(fmt.Sprintf("n-%d", i), "nia"))
	}
	c.until("snapshots", func() bool {
		return c.snapshots("stonebend") > 0 && c.snapshots("millrow") > 0 && c.snapshots("eastfork") > 0
	})
	c.halt("millrow")
	for i := range 20 {
		c.do("nia", "stonebend", actPadlock(fmt.Sprintf("m-%d", i), "nia"))
	}
	c.start("millrow")
	c.same(c.size("stonebend"), "millrow", "stonebend", "eastfork")
	c.until("a lock after the restart is confirmed", func() bool {
		return c.do("ravi", "millrow", lockOn(legOne, "", "")).GetStatus() == servicev1.Status_STATUS_CONFIRMED
	})

	c.joinYard("fourth")
	c.voters(4)
	want := c.same(c.size("stonebend"), "fourth", "stonebend")
	if len(want) < 60 {
		t.Errorf("only %d entries", len(want))
	}

	c.halt("eastfork")
	remove(t, filepath.Join(c.dirs["eastfork"], "history"))
	c.start("eastfork")
	// It serves and counts while it fetches, and what comes meanwhile is not lost.
	for i := range 20 {
		c.do("nia", "stonebend", actPadlock(fmt.Sprintf("k-%d", i), "nia"))
	}
	c.same(c.size("eastfork"), "eastfork", "stonebend")
	c.until("eastfork is well", func() bool {
		m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], "eastfork")).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
		return err == nil && len(m.GetWrong()) == 0
	})
}

// TestLinearizableReads: a confirmed read at any yard that starts after a write
// was acknowledged sees it, and no reader ever goes back.
func TestLinearizableReads(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	yards := []string{"stonebend", "millrow", "eastfork"}
	// The index of the newest acknowledged write, and of each yard's client.
	var acked atomic.Uint64
	var reads atomic.Int64
	ctx, cancel := context.WithCancel(c.ctx())
	var wg sync.WaitGroup
	for _, y := range yards {
		l := c.raw("nia", y)
		wg.Go(func() {
			var last uint64
			for ctx.Err() == nil {
				floor := acked.Load()
				res, err := l.GetBoard(ctx, &servicev1.GetBoardRequest{Consistency: servicev1.Consistency_CONSISTENCY_CONFIRMED})
				if err != nil {
					continue
				}
				size := res.GetBoard().GetAsOf().GetSize()
				if size <= floor && floor > 0 || size < last {
					t.Errorf("%s: a confirmed board of %d entries after entry %d was acknowledged and %d were seen", y, size, floor, last)
				}
				last = size
				reads.Add(1)
			}
		})
	}
	var writers sync.WaitGroup
	for _, y := range yards {
		l := c.raw("nia", y)
		writers.Go(func() {
			for i := range 60 {
				res, err := l.Submit(ctx, &servicev1.SubmitRequest{Signed: c.sign("nia", actPadlock(fmt.Sprintf("%s-%d", y, i), "nia"))})
				if err != nil {
					t.Errorf("%s: %v", y, err)
					return
				}
				at := res.GetReceipt().GetOutcome().GetIndex()
				for old := acked.Load(); at > old && !acked.CompareAndSwap(old, at); old = acked.Load() {
				}
			}
		})
	}
	writers.Wait()
	cancel()
	wg.Wait()
	if reads.Load() < 50 {
		t.Errorf("only %d reads", reads.Load())
	}
}
