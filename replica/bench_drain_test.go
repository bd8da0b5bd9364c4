package replica_test

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// day is how many records a yard writes while it is cut off (performance.md, P10).
const day = 10_000

// offline writes n records, each a lock or its release, into the journal of a yard
// that is cut off, and returns the last one's number.
func (c *cluster) offline(yard, point string, n int) (last uint64) {
	c.t.Helper()
	var seq atomic.Uint64
	var wg sync.WaitGroup
	for range 16 {
		l := c.raw("ravi", yard)
		wg.Go(func() {
			ref := ""
			for range n / 16 {
				act := lockOn(point, "", "")
				if ref != "" {
					act = actRelease(ref)
				}
				res, err := l.Submit(c.ctx(), &servicev1.SubmitRequest{Signed: c.sign("ravi", act), WaitMs: 1})
				if err != nil {
					c.t.Errorf("cut off: %v", err)
					return
				}
				at := place(res.GetReceipt().GetRef()).GetSeq()
				for old := seq.Load(); at > old && !seq.CompareAndSwap(old, at); old = seq.Load() {
				}
				if ref == "" {
					ref = res.GetReceipt().GetRef()
				} else {
					ref = ""
				}
			}
		})
	}
	wg.Wait()
	return seq.Load()
}

// writer registers padlocks through a yard, one every twenty milliseconds or as soon
// as the one before is answered, and keeps how long each took. Without a pause two
// writers take a quarter of two cores; a co-op writes a few records a minute.
type writer struct {
	c    *cluster
	l    servicev1.LedgerServiceClient
	took []float64 // ms
}

func (w *writer) until(ctx context.Context) {
	w.took = nil
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for ctx.Err() == nil {
		<-tick.C
		from := time.Now()
		w.c.padlock(w.l)
		w.took = append(w.took, float64(time.Since(from).Microseconds())/1000)
	}
}

// padlock registers one. Where it is not known whether one was taken, as when the
// leadership moves on a busy machine, it registers another.
func (c *cluster) padlock(l servicev1.LedgerServiceClient) {
	c.t.Helper()
	for range 20 {
		rec := actPadlock("p", "nia")
		rec.Ticket = c.ticket()
		rec.GetRegisterPadlock().Serial = serial(rec)
		if _, err := l.Submit(c.ctx(), &servicev1.SubmitRequest{Signed: c.sign("nia", rec), WaitMs: 30_000}); err == nil {
			return
		}
	}
	c.t.Error("twenty records in a row were not taken")
}

// BenchmarkDrain is P10 of performance.md: a yard cut off with 10,000 records in
// its journal; the time from the link's return until the other yards' ledger has
// them all, and what the others wait meanwhile, against before. All three replicas
// share one machine's cores here, which three yards do not. -benchtime 1x.
func BenchmarkDrain(b *testing.B) {
	var wire links
	c := three(b, wired(&wire))
	c.twoPoints()
	var drained, before, meanwhile []float64
	for b.Loop() {
		lead := c.lead()
		away, point := "millrow", legOne
		if lead == away {
			away, point = "stonebend", fanOne
		}
		other := map[string]string{"stonebend": "millrow", "millrow": "stonebend"}[away]
		wire.cut(away)
		last := c.offline(away, point, day)
		ws := []*writer{{c: c, l: c.raw("nia", other)}, {c: c, l: c.raw("nia", "eastfork")}}
		write := func(until context.Context) (took []float64) {
			var wg sync.WaitGroup
			for _, w := range ws {
				wg.Go(func() { w.until(until) })
			}
			wg.Wait()
			for _, w := range ws {
				took = append(took, w.took...)
			}
			return took
		}
		quiet, stop := context.WithTimeout(c.ctx(), 2*time.Second)
		before = append(before, write(quiet)...)
		stop()
		draining, stop := context.WithCancel(c.ctx())
		from := time.Now()
		wire.mend(away)
		go func() {
			defer stop()
			if err := c.up[lead].WaitDrained(c.ctx(), away, last); err != nil {
				b.Errorf("never drained: %v", err)
			}
			drained = append(drained, time.Since(from).Seconds())
		}()
		meanwhile = append(meanwhile, write(draining)...)
		c.voters(3)
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(drained), "drained-s")
	b.ReportMetric(day/median(drained), "records/s")
	b.ReportMetric(median(before), "p50-before-ms")
	b.ReportMetric(median(meanwhile), "p50-meanwhile-ms")
	b.ReportMetric(median(meanwhile)/median(before), "ratio")
}
