package replica_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
	"yardhasp/replica/quorum"
)

// timed gives a cluster's replicas raft timers of their own.
func timed(t quorum.Timers) func(*cluster) {
	return func(c *cluster) { c.tune = func(cfg *replica.Config) { cfg.Timers = &t } }
}

// etcdLike is this project's raft with etcd's default times: a heartbeat every
// 100 ms and an election after 1,000 to 2,000 ms of silence (etcd documentation,
// "Tuning", Time parameters: from memory). hashicorp/raft sends ten heartbeats in
// one HeartbeatTimeout and draws the silence from one to two of them. It is not
// etcd: that is not here to be measured.
func etcdLike() quorum.Timers {
	t := quorum.Profiles["lan"]
	t.Name, t.Heartbeat, t.Election, t.Lease = "etcd-like", time.Second, time.Second, 500*time.Millisecond
	return t
}

// failing is a cluster whose leader is taken away again and again.
type failing struct {
	*cluster
	wire links
	gaps []float64 // ms
}

func newFailing(b *testing.B, t quorum.Timers) *failing {
	f := &failing{}
	f.cluster = three(b, timed(t), wired(&f.wire))
	return f
}

// lead names the yard that leads, as every yard has it.
func (c *cluster) lead() (lead string) {
	c.t.Helper()
	c.until("one leader that all three yards follow", func() bool {
		lead = ""
		for _, y := range []string{"stonebend", "millrow", "eastfork"} {
			m, err := c.as("nia", y).Members(c.ctx(), y)
			if err != nil || !m.GetHasQuorum() {
				return false
			}
			for _, k := range m.GetMembers() {
				if k.GetLeader() && lead != "" && lead != k.GetYard() {
					return false
				}
				if k.GetLeader() {
					lead = k.GetYard()
				}
			}
		}
		return lead != ""
	})
	return lead
}

// fail takes the leader away just after a record was acknowledged at another yard,
// and measures from that moment to the next one acknowledged there.
func (f *failing) fail() {
	lead := f.lead()
	at := map[string]string{"stonebend": "millrow", "millrow": "eastfork", "eastfork": "stonebend"}[lead]
	l := f.raw("nia", at)
	write := func() bool {
		ctx, cancel := context.WithTimeout(f.ctx(), time.Minute)
		defer cancel()
		rec := actPadlock("p", "nia")
		rec.Ticket = f.ticket()
		rec.GetRegisterPadlock().Serial = serial(rec)
		_, err := l.Submit(ctx, &servicev1.SubmitRequest{Signed: f.sign("nia", rec), WaitMs: 60_000}, grpc.WaitForReady(true))
		return err == nil
	}
	for n := 0; n < 20; { // it works, and connections stand
		if write() {
			n++
		}
	}
	from := time.Now()
	f.wire.cut(lead)
	for !write() {
	}
	f.gaps = append(f.gaps, float64(time.Since(from).Microseconds())/1000)
	f.wire.mend(lead)
	f.voters(3)
}

// BenchmarkFailover is P9 of performance.md: the median time from the leader's
// loss to the next acknowledged record, with each profile, and its ratio to the
// same raft with etcd's default times in the same run. One iteration loses each
// leader once: -benchtime 10x.
func BenchmarkFailover(b *testing.B) {
	for _, name := range []string{"lan", "rural"} {
		b.Run(name, func(b *testing.B) {
			own, other := newFailing(b, quorum.Profiles[name]), newFailing(b, etcdLike())
			for b.Loop() {
				own.fail()
				other.fail()
			}
			m, o := median(own.gaps), median(other.gaps)
			b.ReportMetric(0, "ns/op") // both clusters and their mending together: says nothing
			b.ReportMetric(m, "gap-ms")
			b.ReportMetric(slices.Max(own.gaps), "worst-ms")
			b.ReportMetric(o, "etcd-timers-gap-ms")
			b.ReportMetric(m/o, "ratio")
		})
	}
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	if len(s)%2 == 1 {
		return s[len(s)/2]
	}
	return (s[len(s)/2-1] + s[len(s)/2]) / 2
}

// serial is a padlock's number that no other record has.
func serial(rec *recordv1.Record) string { return fmt.Sprintf("p-%d", rec.GetTicket().GetCounter()) }
