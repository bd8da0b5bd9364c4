package replica_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

const mb = 1 << 20

// gauge is the free space of a disk that a test invents, in MB; low is 200, full
// 50, the ballast 20.
type gauge struct{ free atomic.Uint64 }

func (g *gauge) tune(cfg *replica.Config) {
	cfg.Disk = &replica.DiskLimits{Low: 200 * mb, Full: 50 * mb, Ballast: 20 * mb}
	cfg.Free = func(string) (uint64, error) { return g.free.Load() * mb, nil }
}

// set changes the free space and has the replica look.
func (g *gauge) set(r *replica.Replica, free uint64) {
	g.free.Store(free)
	r.LookAtDisk()
}

// ill is what a yard says of its health.
func (c *cluster) ill(yard string) string {
	c.t.Helper()
	res, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], yard)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
	if err != nil {
		c.t.Fatal(err)
	}
	return said(res.GetWrong()...)
}

func ballast(t testing.TB, dir string) bool {
	t.Helper()
	_, err := os.Stat(filepath.Join(dir, "ballast"))
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return err == nil
}

// holds is the size of the ledger as one yard has it, confirmed or not.
func (c *cluster) holds(yard string) uint64 {
	c.t.Helper()
	b, err := c.board(yard, servicev1.Consistency_CONSISTENCY_LOCAL)
	if err != nil {
		c.t.Fatal(err)
	}
	return b.GetAsOf().GetSize()
}

// TestDiskLowAndFull: a low disk takes what people need to be safe and no new
// permission; a full one takes nothing, stays up to be read, and goes on by itself
// once there is plenty again (decisions.md 28).
func TestDiskLowAndFull(t *testing.T) {
	t.Parallel()
	var g gauge
	g.free.Store(1000)
	c := one(t, func(c *cluster) { c.tune = g.tune })
	r, dir := c.up["stonebend"], c.dirs["stonebend"]
	r.LookAtDisk()
	if !ballast(t, dir) || strings.Contains(c.ill("stonebend"), "DISK") {
		t.Errorf("with plenty free: ballast %v, health %q", ballast(t, dir), c.ill("stonebend"))
	}

	g.set(r, 199)
	if h := c.ill("stonebend"); !strings.Contains(h, "DISK_SHORT 199") {
		t.Errorf("health %q", h)
	}
	procedure := &recordv1.Record{Act: &recordv1.Record_PublishProcedure{PublishProcedure: &recordv1.PublishProcedure{Zone: "stonebend/fan", Version: 1,
		Text: []byte("lock it"), Machines: []string{"the fan"}, Points: []string{fanOne}}}}
	for _, act := range []*recordv1.Record{actRequest("start-1", "boot-1", time.Hour, fanOne), actEnergise("start-1", fanOne), actPoint("stonebend/p/d"), procedure,
		{Act: &recordv1.Record_Remark{Remark: &recordv1.Remark{Job: "boot-1", Text: "the guard is bent"}}}} {
		_, err := c.submitAt("nia", "stonebend", 0, act)
		c.wantErr(err, codes.ResourceExhausted, replica.DiskLow)
	}
	hold := c.do("nia", "stonebend", lockOn(fanOne, "", "")).GetRef()
	c.do("nia", "stonebend", actRelease(hold))

	g.set(r, 49)
	size := c.holds("stonebend")
	if h := c.ill("stonebend"); !strings.Contains(h, "DISK_FULL 49") {
		t.Errorf("health %q", h)
	}
	if ballast(t, dir) {
		t.Error("the ballast is kept on a full disk")
	}
	// Not quite full is not cured: giving up the ballast frees as much.
	for _, free := range []uint64{49, 70, 199} {
		g.set(r, free)
		for _, act := range []*recordv1.Record{lockOn(fanOne, "", ""), actPoint("stonebend/p/d")} {
			_, err := c.submitAt("nia", "stonebend", 0, act)
			c.wantErr(err, codes.Unavailable, client.ReasonNotServing)
			if !strings.Contains(err.Error(), string(replica.DiskFull)) {
				t.Errorf("%d MB free: %v", free, err)
			}
		}
	}
	b, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_LOCAL)
	if err != nil || len(b.GetHolds()) != 1 {
		t.Errorf("it can't be read: %v", err)
	}
	if c.holds("stonebend") != size {
		t.Error("the ledger grew on a full disk")
	}

	g.set(r, 1000)
	c.until("a lock once there is space", func() bool {
		rec, err := c.submitAt("nia", "stonebend", 0, lockOn(fanOne, "", ""))
		return err == nil && rec.GetStatus() == servicev1.Status_STATUS_CONFIRMED
	})
	if !ballast(t, dir) || strings.Contains(c.ill("stonebend"), "DISK") {
		t.Errorf("cured: ballast %v, health %q", ballast(t, dir), c.ill("stonebend"))
	}
}

// TestStartOnFullDisk: the stores are not opened where they would die of it; the
// ballast alone may be room enough.
func TestStartOnFullDisk(t *testing.T) {
	t.Parallel()
	var g gauge
	g.free.Store(1000)
	c := one(t, func(c *cluster) { c.tune = g.tune })
	c.up["stonebend"].LookAtDisk()
	c.halt("stonebend")
	dir := c.dirs["stonebend"]
	cfg := replica.Config{Dir: dir}
	g.tune(&cfg)
	cfg.Free = func(string) (uint64, error) {
		if ballast(t, dir) {
			return 40 * mb, nil
		}
		return 60 * mb, nil
	}
	r, err := replica.Open(cfg)
	if err != nil {
		t.Fatalf("the ballast's room was not used: %v", err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	g.free.Store(49)
	g.tune(&cfg)
	if r, err := replica.Open(cfg); err == nil || !strings.Contains(err.Error(), "has only 49 MB free") {
		t.Errorf("started on a full disk: %v", err)
		if err == nil {
			r.Close()
		}
	}
}

// TestFullDiskAmongThree: the others go on without the yard whose disk is full,
// though it led them, and it catches up once it has space.
func TestFullDiskAmongThree(t *testing.T) {
	t.Parallel()
	var g gauge
	g.free.Store(1000)
	c := three(t, func(c *cluster) {
		c.tune = func(cfg *replica.Config) {
			if cfg.Dir == c.dirs["stonebend"] {
				g.tune(cfg)
			}
		}
	})
	c.do("nia", "millrow", actPoint("millrow/p/d"))
	c.do("nia", "millrow", actIsolate("millrow/p/d"))
	r := c.up["stonebend"]
	g.set(r, 10)
	before := c.holds("stonebend")
	for range 3 {
		c.until("a lock at millrow in the ledger", func() bool {
			rec, err := c.submitAt("nia", "millrow", 0, lockOn("millrow/p/d", "", ""))
			return err == nil && rec.GetStatus() == servicev1.Status_STATUS_CONFIRMED
		})
	}
	if n := c.holds("stonebend"); n > before+1 { // one may have been under way
		t.Errorf("the full disk took %d entries", n-before)
	}
	g.set(r, 1000)
	want := c.size("millrow")
	c.until("stonebend has caught up", func() bool { return c.holds("stonebend") >= want })
	c.do("nia", "stonebend", actPoint("stonebend/p/d"))
}
