package replica_test

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"

	"yardhasp/client/keys"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// alarmed waits until a yard's board carries the alarm, and gives the board.
func (c *cluster) alarmed(yard string) (b *recordv1.Board) {
	c.t.Helper()
	c.until(yard+" shows the alarm", func() bool {
		var err error
		b, err = c.board(yard, servicev1.Consistency_CONSISTENCY_UNSPECIFIED)
		return err == nil && b.GetAsOf().GetDivergence() != nil
	})
	return b
}

// differing reads from a replica's gauges which yards' histories differ.
func differing(t testing.TB, r *replica.Replica) (yards []string) {
	t.Helper()
	reg := prometheus.NewPedanticRegistry()
	reg.MustRegister(r.Gauges())
	all, err := reg.Gather()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range all {
		for _, m := range f.GetMetric() {
			if f.GetName() == "yardhasp_histories_differ" && m.GetGauge().GetValue() == 1 {
				yards = append(yards, m.GetLabel()[0].GetValue())
			}
		}
	}
	return yards
}

func (c *cluster) evidence(yard string) []string {
	c.t.Helper()
	got, err := filepath.Glob(filepath.Join(c.dirs[yard], "divergence-*.txt"))
	if err != nil {
		c.t.Fatal(err)
	}
	return got
}

// TestDivergenceStopsEveryWord: one replica holds other roots. From the first
// comparison on nothing is approved, no go-ahead shows and nothing is promised, at any
// yard, and every screen names both yards and the size.
func TestDivergenceStopsEveryWord(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn()
	c.cleared()
	c.do("nia", "stonebend", actRequest("start-1", "boot-1", time.Hour, feeder))
	c.until("the energising", func() bool {
		_, err := c.as("ravi", "stonebend").Submit(c.ctx(), actEnergise("start-1", feeder))
		return err == nil
	})
	c.until("the go-ahead", func() bool { return c.feederPanel().GetGoAhead() })
	c.size("millrow")
	if err := c.up["millrow"].CompareWith(c.ctx(), "stonebend"); err != nil || said(c.up["millrow"].Divergence()) != "" || said(c.up["stonebend"].Divergence()) != "" {
		t.Fatalf("equal roots: %v, %q, %q", err, said(c.up["millrow"].Divergence()), said(c.up["stonebend"].Divergence()))
	}

	size := c.up["millrow"].Misremember()
	if err := c.up["millrow"].CompareWith(c.ctx(), "stonebend"); err != nil {
		t.Fatal(err)
	}
	for _, y := range []string{"millrow", "stonebend", "eastfork"} {
		c.tellsOfDivergence(y, size)
	}
	if v := c.feederPanel(); v.GetGoAhead() || v.GetAsOf().GetConfirmed() || !strings.Contains(said(v.GetAgainst()...), "millrow stonebend") {
		t.Errorf("the panel says go-ahead %v, %v", v.GetGoAhead(), said(v.GetAgainst()...))
	}

	c.nothingIsPromised()
	c.noFenceFrom(size)

	// It outlives a restart, and ends only by hand.
	c.halt("stonebend")
	c.start("stonebend")
	if a := said(c.up["stonebend"].Divergence()); !strings.Contains(a, "millrow stonebend") {
		t.Errorf("after a restart: %q", a)
	}
	c.thirdYardBelieves()
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		c.settled(y)
	}
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		c.start(y)
	}
	c.size("millrow")
	if err := c.up["millrow"].CompareWith(c.ctx(), "stonebend"); err != nil || said(c.up["millrow"].Divergence()) != "" {
		t.Errorf("after it was settled: %v %q", err, said(c.up["millrow"].Divergence()))
	}
}

func (c *cluster) feederPanel() *servicev1.GetPanelResponse {
	c.t.Helper()
	v, err := c.raw("nia", "stonebend").GetPanel(c.ctx(), &servicev1.GetPanelRequest{Point: feeder})
	if err != nil {
		c.t.Fatal(err)
	}
	return v
}

// tellsOfDivergence: every screen of a yard, its health and its gauges name both yards;
// the board says how many entries differ; and the evidence is kept.
func (c *cluster) tellsOfDivergence(y string, size uint64) {
	c.t.Helper()
	b := c.alarmed(y)
	a := b.GetAsOf()
	if a.GetConfirmed() || !strings.Contains(said(a.GetDivergence()), fmt.Sprintf("millrow stonebend %d", size)) {
		c.t.Errorf("board at %s: confirmed %v, alarm %q, want both yards and %d", y, a.GetConfirmed(), said(a.GetDivergence()), size)
	}
	_, err := c.board(y, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	c.wantErr(err, codes.FailedPrecondition, replica.HistoriesDiffer)
	m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], y)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
	if err != nil || len(m.GetWrong()) == 0 || !strings.Contains(said(m.GetWrong()[0]), "millrow stonebend") || m.GetAsOf().GetDivergence() == nil {
		c.t.Errorf("members at %s: %v %v", y, m, err)
	}
	c.until("health of "+y, func() bool {
		got, err := grpc_health_v1.NewHealthClient(c.dial(testKey("stranger"), y)).Check(c.ctx(), &grpc_health_v1.HealthCheckRequest{Service: "ledger.agree"})
		return err == nil && got.GetStatus() == grpc_health_v1.HealthCheckResponse_NOT_SERVING
	})
	if len(c.evidence(y)) == 0 {
		c.t.Errorf("%s keeps no evidence", y)
	}
	if got := differing(c.t, c.up[y]); !slices.Contains(got, "millrow") || !slices.Contains(got, "stonebend") {
		c.t.Errorf("the gauges of %s name %v", y, got)
	}
}

// nothingIsPromised: a request is written down, and waits; and a lock at any yard is
// recorded without a promise. It comes behind any fence that the request could have had.
func (c *cluster) nothingIsPromised() {
	c.t.Helper()
	rec, err := c.submitAt("nia", "stonebend", 0, actRequest("start-2", "boot-1", time.Hour, second))
	if err != nil || rec.GetStatus() != servicev1.Status_STATUS_WRITTEN {
		c.t.Fatalf("a request is %v %v", rec, err)
	}
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		c.until(yard+" has the request", func() bool {
			b, err := c.board(yard, servicev1.Consistency_CONSISTENCY_LOCAL)
			return err == nil && len(b.GetRequests()) > 0 && b.GetRequests()[0].GetState() == recordv1.RequestState_REQUEST_STATE_AWAITING
		})
	}
	for yard, point := range map[string]string{"stonebend": feeder, "millrow": second, "eastfork": second} {
		rec := c.do("ravi", yard, lockOn(point, "", ""))
		if s := rec.GetStatus(); s != servicev1.Status_STATUS_UNCONFIRMED && s != servicev1.Status_STATUS_LIVE || len(rec.GetPromised()) > 0 || rec.GetOutcome() == nil {
			c.t.Errorf("a lock at %s: %v, promised %v, recorded %v", yard, s, rec.GetPromised(), rec.GetOutcome() != nil)
		}
		if yard == "millrow" && (rec.GetGrant() != recordv1.Grant_GRANT_UNCONFIRMED && rec.GetGrant() != recordv1.Grant_GRANT_CONTESTED || !code.Is(rec.GetMeans(), replica.LockInDoubt)) {
			c.t.Errorf("an open point of its own at millrow: %v %s", rec.GetGrant(), said(rec.GetMeans()))
		}
	}
}

// noFenceFrom: there were fences before, and none comes for a request that was made once
// the first size entries differed.
func (c *cluster) noFenceFrom(size uint64) {
	c.t.Helper()
	leaves, err := c.export("stonebend", 0, c.alarmed("stonebend").GetAsOf().GetSize())
	if err != nil {
		c.t.Fatal(err)
	}
	asked, before := false, 0
	for _, o := range c.replay(leaves) {
		if o.GetKind() == "fence" && o.GetIndex() < size {
			before++
		}
		asked = asked || o.GetKind() == "request" && o.GetAccepted() && o.GetIndex() >= size
		if asked && o.GetKind() == "fence" {
			c.t.Errorf("entry %d is a fence of %s", o.GetIndex(), o.GetRef())
		}
	}
	if !asked || before == 0 {
		c.t.Errorf("the second request is in the ledger: %v; fences before: %d", asked, before)
	}
}

// settled stops a yard and moves its evidence away, as people do who know which
// history is right.
func (c *cluster) settled(y string) {
	c.t.Helper()
	c.halt(y)
	for _, f := range c.evidence(y) {
		if err := os.Rename(f, f+".settled"); err != nil {
			c.t.Fatal(err)
		}
	}
}

// thirdYardBelieves: a yard that compared nothing itself believes the two signatures,
// whoever asks whom.
func (c *cluster) thirdYardBelieves() {
	c.t.Helper()
	c.halt("millrow")
	for _, pair := range [][2]string{{"stonebend", "eastfork"}, {"eastfork", "stonebend"}} {
		c.settled("eastfork")
		c.start("eastfork")
		if a := said(c.up["eastfork"].Divergence()); a != "" {
			c.t.Fatalf("eastfork, with the file moved away: %q", a)
		}
		c.until(pair[0]+" reaches "+pair[1], func() bool { return c.up[pair[0]].CompareWith(c.ctx(), pair[1]) == nil })
		if a := said(c.up["eastfork"].Divergence()); !strings.Contains(a, "millrow stonebend") {
			c.t.Errorf("%s asked %s, and eastfork says %q", pair[0], pair[1], a)
		}
	}
}

// TestUnreadableEvidence: a file that can't be read alarms all the same.
func TestUnreadableEvidence(t *testing.T) {
	t.Parallel()
	c := one(t)
	c.halt("stonebend")
	if err := os.WriteFile(filepath.Join(c.dirs["stonebend"], "divergence-7.txt"), []byte("half a li"), 0o600); err != nil {
		t.Fatal(err)
	}
	c.start("stonebend")
	if b := c.alarmed("stonebend"); !strings.Contains(said(b.GetAsOf().GetDivergence()), "divergence-7.txt") {
		t.Errorf("alarm %q", said(b.GetAsOf().GetDivergence()))
	}
}

// TestForgedCheckpoints: what is not signed by the key that the ledger has for a
// yard is refused, alarms nobody, and is in the log.
func TestForgedCheckpoints(t *testing.T) {
	t.Parallel()
	logged := &lines{}
	c := three(t, func(c *cluster) { c.tune = func(cfg *replica.Config) { cfg.Logger = slog.New(logged) } })
	c.size("millrow")
	key, err := keys.Read(filepath.Join(c.dirs["millrow"], "replica.key"), nil)
	if err != nil {
		t.Fatal(err)
	}
	size, root, good, err := c.up["stonebend"].Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	other := root
	other[5] ^= 1
	sign := func(yard string, k ed25519.PrivateKey, id []byte, root [32]byte) string {
		s, err := seal.NewNoteSigner(yard, k)
		if err != nil {
			t.Fatal(err)
		}
		msg, err := seal.SignCheckpoint(seal.Origin(id), size, root, note.Signer(s))
		if err != nil {
			t.Fatal(err)
		}
		return string(msg)
	}
	forged := sign("millrow", testKey("mallory"), c.id, other)
	peer := servicev1.NewPeerServiceClient(c.dial(key, "stonebend"))
	mine := sign("millrow", key, c.id, root)
	for name, q := range map[string]*servicev1.CompareRootRequest{
		"another key":      {Size: size, Root: other[:], Note: forged},
		"another yard":     {Size: size, Root: other[:], Note: sign("eastfork", key, c.id, other)},
		"another ledger":   {Size: size, Root: other[:], Note: sign("millrow", key, make([]byte, 32), other)},
		"not what it says": {Size: size, Root: other[:], Note: mine},
		"another size":     {Size: size + 1, Root: root[:], Note: mine},
		"no note":          {Size: size, Root: other[:]},
		"a long note":      {Size: size, Root: other[:], Note: strings.Repeat("x", 1<<20)},
	} {
		if _, err := peer.CompareRoot(c.ctx(), q); statusCode(err) != codes.InvalidArgument {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Evidence proves itself, or counts for nothing: whoever shows it.
	for name, d := range map[string]*servicev1.Divergence{
		"one is forged":            {First: good, Second: forged},
		"they say the same":        {First: good, Second: mine},
		"one is empty":             {First: good},
		"a yard that is not there": {First: good, Second: sign("nowhere", key, c.id, other)},
	} {
		res, err := peer.CompareRoot(c.ctx(), &servicev1.CompareRootRequest{Size: size, Root: root[:], Note: mine, Divergences: []*servicev1.Divergence{d}})
		if err != nil || res.GetSize() != size || string(res.GetRoot()) != string(root[:]) || len(res.GetDivergences()) > 0 {
			t.Errorf("%s: %v %v", name, res, err)
		}
	}
	if a := said(c.up["stonebend"].Divergence()); a != "" || len(c.evidence("stonebend")) > 0 {
		t.Errorf("forged checkpoints alarm: %q", a)
	}
	if logged.count("a yard's checkpoint is ignored") < 7 || logged.count("prove nothing") < 4 {
		t.Error("what was ignored is not in the log")
	}
	// A person is no replica.
	_, err = servicev1.NewPeerServiceClient(c.dial(c.keys["nia"], "stonebend")).CompareRoot(c.ctx(), &servicev1.CompareRootRequest{Size: size, Root: root[:], Note: mine})
	if statusCode(err) != codes.PermissionDenied {
		t.Errorf("a person compares roots: %v", err)
	}
	// Two that yards did sign are taken, from a third one too.
	third, err := keys.Read(filepath.Join(c.dirs["eastfork"], "replica.key"), nil)
	if err != nil {
		t.Fatal(err)
	}
	q := &servicev1.CompareRootRequest{Size: size, Root: root[:], Note: sign("eastfork", third, c.id, root),
		Divergences: []*servicev1.Divergence{{First: good, Second: sign("millrow", key, c.id, other)}}}
	if _, err := servicev1.NewPeerServiceClient(c.dial(third, "stonebend")).CompareRoot(c.ctx(), q); err != nil || !strings.Contains(said(c.up["stonebend"].Divergence()), "millrow stonebend") {
		t.Errorf("two signed roots shown by a third yard: %v, %q", err, said(c.up["stonebend"].Divergence()))
	}
}

// TestEqualRootsNeverAlarm: a busy run with snapshots, restarts, a lost history
// and comparisons all the time.
func TestEqualRootsNeverAlarm(t *testing.T) {
	t.Parallel()
	c := three(t, eager)
	c.twoPoints()
	yards := []string{"stonebend", "millrow", "eastfork"}
	compared := 0
	compare := func() {
		for _, a := range yards {
			for _, b := range yards {
				if a == b || c.up[a] == nil || c.up[b] == nil {
					continue
				}
				if c.up[a].CompareWith(c.ctx(), b) == nil {
					compared++
				}
				if w := said(c.up[a].Divergence()) + said(c.up[b].Divergence()); w != "" {
					t.Fatalf("%s and %s: %s", a, b, w)
				}
			}
		}
	}
	for round := range 6 {
		ctx, cancel := context.WithCancel(c.ctx())
		var wg sync.WaitGroup
		for _, y := range yards {
			l := c.raw("nia", y)
			wg.Go(func() {
				for i := 0; ctx.Err() == nil && i < 40; i++ {
					_, _ = l.Submit(ctx, &servicev1.SubmitRequest{Signed: c.sign("nia", actPadlock(fmt.Sprintf("%s-%d-%d", y, round, i), "nia"))})
				}
			})
		}
		for range 10 {
			compare()
		}
		wg.Wait()
		cancel()
		y := yards[round%3]
		c.halt(y)
		if round == 4 {
			remove(t, filepath.Join(c.dirs[y], "history"))
		}
		c.start(y)
		compare()
	}
	c.same(c.size("stonebend"), yards...)
	compare()
	if compared < 300 {
		t.Errorf("only %d comparisons", compared)
	}
}

// TestComparesByItself: each replica asks one other at a time, in turn, once in
// ten election times: the idle cost of it.
func TestComparesByItself(t *testing.T) {
	t.Parallel()
	said := &lines{}
	c := three(t, func(c *cluster) {
		c.tune = func(cfg *replica.Config) {
			if strings.HasSuffix(cfg.Dir, "data") {
				return // millrow's and eastfork's
			}
			cfg.Logger = slog.New(said)
		}
	})
	began := time.Now()
	before := said.count("roots compared")
	c.until("comparisons with both", func() bool {
		return said.count("roots compared") >= before+3 && said.count("with=millrow") > 0 && said.count("with=eastfork") > 0
	})
	took, n := time.Since(began), said.count("roots compared")-before
	// One tick may have been waiting, and one call been slow.
	if most := int(took/(5*time.Second)) + 2; n > most {
		t.Errorf("%d comparisons in %s, at most %d are wanted", n, took, most)
	}
}
