package replica_test

import (
	"context"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"yardhasp/replica"
	"yardhasp/replica/quorum"
)

// away is how many entries go in while a yard is away.
const away = 5_000

// forgetful takes snapshots often and keeps hardly any log behind them, so that a
// yard that was away is sent a snapshot.
func forgetful(installed *atomic.Int64) func(*cluster) {
	return func(c *cluster) {
		c.tune = func(cfg *replica.Config) {
			cfg.Logger = slog.New(installs{slog.DiscardHandler, installed})
			t := quorum.Profiles["lan"]
			t.SnapshotEvery, t.SnapshotThreshold, t.TrailingLogs = 200*time.Millisecond, 64, 16
			cfg.Timers = &t
		}
	}
}

// installs counts what raft 1.8.0 says when it has taken another's snapshot.
type installs struct {
	slog.Handler
	n *atomic.Int64
}

func (h installs) Enabled(context.Context, slog.Level) bool { return true }
func (h installs) WithAttrs([]slog.Attr) slog.Handler       { return h }
func (h installs) WithGroup(string) slog.Handler            { return h }
func (h installs) Handle(_ context.Context, r slog.Record) error {
	if strings.Contains(r.Message, "Installed remote snapshot") {
		h.n.Add(1)
	}
	return nil
}

// busy registers n padlocks through a yard, 32 at a time, and says how long it took.
func (c *cluster) busy(yard string, n int) time.Duration {
	c.t.Helper()
	from := time.Now()
	var wg sync.WaitGroup
	for range 32 {
		l := c.raw("nia", yard)
		wg.Go(func() {
			for range n / 32 {
				c.padlock(l)
			}
		})
	}
	wg.Wait()
	return time.Since(from)
}

// BenchmarkCatchUp: a yard is away while 5,000 entries go in; the time from its
// return until its state has them all, against the time the other two took to take
// them. "log" sends it the entries and "snapshot" a snapshot, both over a link that
// was cut; "restart" is a replica that was stopped. -benchtime 3x.
func BenchmarkCatchUp(b *testing.B) {
	for _, how := range []string{"log", "snapshot", "restart"} {
		b.Run(how, func(b *testing.B) {
			var wire links
			var installed atomic.Int64
			tune := func(*cluster) {}
			if how == "snapshot" {
				tune = forgetful(&installed)
			}
			c := three(b, tune, wired(&wire))
			c.twoPoints()
			var back, took []float64
			for b.Loop() {
				lead := c.lead()
				gone := map[string]string{"stonebend": "millrow", "millrow": "eastfork", "eastfork": "stonebend"}[lead]
				if how == "restart" {
					c.halt(gone)
				} else {
					wire.cut(gone)
				}
				before := installed.Load()
				took = append(took, c.busy(lead, away).Seconds())
				want := c.size(lead)
				from := time.Now()
				if how == "restart" {
					c.start(gone)
				} else {
					wire.mend(gone)
				}
				if err := c.up[gone].WaitSize(c.ctx(), want); err != nil {
					b.Fatal(err)
				}
				back = append(back, time.Since(from).Seconds())
				if how == "snapshot" && installed.Load() == before {
					b.Error("no snapshot was sent")
				}
				c.voters(3)
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(median(back), "back-s")
			b.ReportMetric(away/median(back), "entries/s")
			b.ReportMetric(median(took), "taken-s")
			b.ReportMetric(median(back)/median(took), "ratio")
		})
	}
}
