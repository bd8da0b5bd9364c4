package replica_test

import (
	"slices"
	"testing"
	"time"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

func (c *cluster) goAhead(point string) bool {
	c.t.Helper()
	p, err := c.as("ravi", "stonebend").Panel(c.ctx(), point)
	if err != nil {
		c.t.Fatal(err)
	}
	if p.GetGoAhead() && (!p.GetAsOf().GetConfirmed() || !code.Is(p.GetMeans(), replica.GoAhead)) {
		c.t.Errorf("a go-ahead without its footing: %v", p)
	}
	if !p.GetGoAhead() && len(p.GetAgainst()) == 0 {
		c.t.Errorf("no go-ahead at %s, and no reason given", point)
	}
	return p.GetGoAhead()
}

func (c *cluster) requestIs(id string, want recordv1.RequestState) {
	c.t.Helper()
	c.until("request "+id+" is "+want.String(), func() bool {
		j, err := c.as("nia", "eastfork").Job(c.ctx(), "boot-1", servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil && slices.ContainsFunc(j.GetRequests(), func(r *recordv1.RequestView) bool { return r.GetId() == id && r.GetState() == want })
	})
}

// TestStart goes the whole way of design.md, "The work, step by step": what a
// request lacks is listed with who can supply it; the yards' word comes by
// itself; nothing says "close" but the go-ahead, at the home yard; and a lock
// ends it all.
func TestStart(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn()
	holds := map[string]string{"ravi": c.do("ravi", "stonebend", lockOn(feeder, "", "boot-1")).GetRef(), "lena": c.do("lena", "millrow", lockOn(second, "", "boot-1")).GetRef()}
	on := c.do("lena", "stonebend", actSignOn("boot-1")).GetRef()

	_, err := c.as("nia", "eastfork").Submit(c.ctx(), actRequest("start-0", "boot-1", time.Hour, feeder, second))
	no, ok := asRefused(err)
	if !ok {
		t.Fatalf("a request with locks on: %v", err)
	}
	for _, want := range []struct {
		code     code.Code
		arg, who string
	}{{ledger.HoldStands, "holder", "ravi"}, {ledger.HoldStands, "holder", "lena"}, {ledger.SignedOn, "person", "lena"},
		{ledger.NotClear, "responsible", "ravi"}, {ledger.NotToldAfter, "responsible", "ravi"}} {
		if !slices.ContainsFunc(no.Outcome.GetConditions(), func(k *recordv1.Finding) bool {
			return code.Is(k, want.code) && slices.Equal(code.Names(k, want.arg), []string{want.who})
		}) {
			t.Errorf("the refusal does not list %s of %s: %s", want.code, want.who, said(no.Outcome.GetConditions()...))
		}
	}
	c.refuse("ravi", "stonebend", ledger.UnknownRequest, actEnergise("start-0", feeder))

	c.do("lena", "stonebend", actSignOff(on))
	c.do("ravi", "eastfork", actRelease(holds["ravi"]))
	c.do("lena", "eastfork", actRelease(holds["lena"]))
	c.cleared()
	c.do("nia", "eastfork", actRequest("start-1", "boot-1", time.Hour, feeder, second))
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_APPROVED)
	if c.goAhead(feeder) || c.goAhead(second) {
		t.Error("approved shows as a go-ahead")
	}
	c.do("ravi", "stonebend", actEnergise("start-1", feeder))
	c.until("the go-ahead", func() bool { return c.goAhead(feeder) })
	if c.goAhead(second) {
		t.Error("the go-ahead of one point shows at another")
	}
	if p, err := c.raw("ravi", "eastfork").GetPanel(c.ctx(), &servicev1.GetPanelRequest{Point: feeder}); err != nil || p.GetGoAhead() {
		t.Errorf("another yard shows the go-ahead: %v %v", p, err)
	}

	// A lock elsewhere ends the go-ahead and what is left of the request.
	rec, err := c.submitAt("lena", "eastfork", 0, lockOn(feeder, "", "boot-1"))
	if err != nil || rec.GetStatus() != servicev1.Status_STATUS_LIVE {
		t.Fatalf("a lock on a point that is switched on: %v %v", rec, err)
	}
	c.until("the go-ahead to end", func() bool { return !c.goAhead(feeder) })
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_VOID)
	c.refuse("ravi", "millrow", ledger.NotApproved, actEnergise("start-1", second))

	c.do("lena", "eastfork", actRelease(rec.GetRef()))
	c.do("ravi", "stonebend", actIsolate(feeder))
	c.cleared()
	c.do("nia", "millrow", actRequest("start-2", "boot-1", time.Hour, feeder, second))
	c.requestIs("start-2", recordv1.RequestState_REQUEST_STATE_APPROVED)
	c.do("ravi", "stonebend", actEnergise("start-2", feeder))
	c.until("the go-ahead", func() bool { return c.goAhead(feeder) })
	c.do("ravi", "stonebend", actClosed(feeder))
	if c.goAhead(feeder) {
		t.Error("the go-ahead shows after the closing")
	}
	c.do("ravi", "millrow", actEnergise("start-2", second))
	c.until("the go-ahead", func() bool { return c.goAhead(second) })
	c.do("ravi", "millrow", actClosed(second))
	c.requestIs("start-2", recordv1.RequestState_REQUEST_STATE_DONE)
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: "boot-1"}}})
}

// TestApprovedIsVoidedByALock: decisions.md 2 and protocol.md 3.2.
func TestApprovedIsVoidedByALock(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn()
	c.cleared()
	c.do("nia", "stonebend", actRequest("start-1", "boot-1", time.Hour, feeder, second))
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_APPROVED)
	if rec := c.do("lena", "eastfork", lockOn(second, "", "")); rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
		t.Errorf("the lock is %v: %s", rec.GetStatus(), said(rec.GetMeans()))
	}
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_VOID)
	c.refuse("ravi", "stonebend", ledger.NotApproved, actEnergise("start-1", feeder))
}

// TestRequestExpires: the leader ends a request at its deadline by itself
// (decisions.md 20); the points stay open.
func TestRequestExpires(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn()
	c.cleared()
	c.do("nia", "stonebend", actRequest("start-1", "boot-1", 1500*time.Millisecond, feeder, second))
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_EXPIRED)
	b, err := c.board("millrow", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range b.GetPoints() {
		if p.GetPosition() != recordv1.Position_POSITION_OPEN {
			t.Errorf("%s is %v after the expiry", p.GetPoint(), p.GetPosition())
		}
	}
	c.refuse("ravi", "stonebend", ledger.NotApproved, actEnergise("start-1", feeder))
	expiries := 0
	for _, o := range c.replay(c.same(c.size("millrow"), "millrow")) {
		if o.GetKind() == "expire" && o.GetAccepted() {
			expiries++
		}
	}
	if expiries != 1 {
		t.Errorf("%d accepted expiries", expiries)
	}
}
