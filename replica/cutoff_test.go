package replica_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

const (
	legOne = "millrow/panel-1/leg-1"
	fanOne = "stonebend/mcc-2/fan-1"
)

// twoPoints registers a point at millrow and one at stonebend, both open.
func (c *cluster) twoPoints() {
	c.t.Helper()
	c.joinPerson(&recordv1.Person{Id: "ravi", Name: "Ravi", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}})
	for _, p := range []string{legOne, fanOne} {
		c.do("nia", "stonebend", actPoint(p))
		c.do("ravi", "stonebend", actIsolate(p))
	}
}

// cutOff waits until a yard says by itself that it has no quorum.
func (c *cluster) cutOff(yard string) *recordv1.Board {
	c.t.Helper()
	var b *recordv1.Board
	c.until(yard+" is cut off", func() (ok bool) {
		m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], yard)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
		if err != nil || m.GetHasQuorum() || !code.Is(m.GetMeans(), client.ReasonNoQuorum) {
			return false
		}
		b, err = c.board(yard, servicev1.Consistency_CONSISTENCY_UNSPECIFIED)
		return err == nil && !b.GetAsOf().GetConfirmed()
	})
	return b
}

// TestOneOfThreeStopped: the leader's machine stops, and everything goes on.
func TestOneOfThreeStopped(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	m, err := c.as("nia", "stonebend").Members(c.ctx(), "")
	if err != nil {
		t.Fatal(err)
	}
	lead := ""
	for _, k := range m.GetMembers() {
		if k.GetLeader() {
			lead = k.GetYard()
		}
	}
	c.halt(lead)
	at := map[string]string{"stonebend": "millrow", "millrow": "eastfork", "eastfork": "millrow"}[lead]
	rec, err := c.submitAt("ravi", at, 20_000, lockOn(legOne, "", ""))
	if err != nil || rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
		t.Fatalf("a lock with one of three stopped: %v %v", rec, err)
	}
	b, err := c.board(at, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil || len(b.GetHolds()) != 1 {
		t.Fatalf("a confirmed read with one of three stopped: %v %v", b, err)
	}
	rel, err := c.submitAt("ravi", at, 20_000, actRelease(rec.GetRef()))
	if err != nil || rel.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
		t.Fatalf("a release with one of three stopped: %v %v", rel, err)
	}
}

// TestTwoOfThreeStopped: a yard cut off records, promises only what it may, and
// what it wrote comes to the ledger once and in order.
func TestTwoOfThreeStopped(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	c.size("millrow") // it knows that both points are open
	known := lockOn(legOne, "", "")
	known.Ticket = c.ticket()
	if rec, err := c.submitAt("ravi", "millrow", 20_000, known); err != nil || rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
		t.Fatalf("a lock before the others go: %v %v", rec, err)
	}
	before := time.Now()
	c.halt("stonebend")
	c.halt("eastfork")
	// One that may go into the log of a leader that just lost its quorum.
	early, err := c.submitAt("ravi", "millrow", 1, lockOn(legOne, "", ""))
	if err != nil || early.GetStatus() != servicev1.Status_STATUS_HELD_LOCALLY {
		t.Errorf("a lock as the others go: %v %v", early, err)
	}
	c.admitsToBeCutOff(before, known.GetTicket())
	tickets, refs := c.locksWhileCutOff()
	c.start("eastfork")
	c.locksArrive(tickets, refs)
	c.start("stonebend")
	c.inOrder()
}

func (c *cluster) receiptAtMillrow(k *recordv1.Ticket, waitMS uint32) (*servicev1.GetReceiptResponse, error) {
	return c.raw("ravi", "millrow").GetReceipt(c.ctx(), &servicev1.GetReceiptRequest{Key: public(c.keys["ravi"]), Device: k.GetDevice(), Counter: k.GetCounter(), WaitMs: waitMS})
}

// admitsToBeCutOff: millrow says how old what it shows is and why, confirms nothing, not
// even what it confirmed before, and takes nothing that needs the others.
func (c *cluster) admitsToBeCutOff(before time.Time, known *recordv1.Ticket) {
	c.t.Helper()
	b := c.cutOff("millrow")
	if a := b.GetAsOf(); a.GetBecause() == nil || a.GetConfirmedUnixMs() == 0 || a.GetConfirmedUnixMs() > a.GetReadUnixMs() || a.GetConfirmedUnixMs() < before.Add(-time.Minute).UnixMilli() {
		c.t.Errorf("an unconfirmed board does not say how old it is and why: %v", a)
	}
	_, err := c.board("millrow", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	c.wantErr(err, codes.Unavailable, client.ReasonNoQuorum)
	// What was confirmed once may have been removed since, as this yard can't know
	// (protocol.md C6).
	old, err := c.receiptAtMillrow(known, 100)
	if err != nil || old.GetReceipt().GetStatus() == servicev1.Status_STATUS_CONFIRMED {
		c.t.Errorf("the receipt of an older lock, read while cut off: %v %v", old, err)
	}
	_, err = c.submitAt("nia", "millrow", 300, actRequest("start-1", "boot-1", time.Hour, legOne))
	c.wantErr(err, codes.Unavailable, client.ReasonNoQuorum)
	_, err = c.submitAt("nia", "millrow", 300, actPadlock("p-1", "ravi"))
	c.wantErr(err, codes.Unavailable, client.ReasonNoQuorum)
}

// locksWhileCutOff writes down four locks at millrow: a promise where it is the point's
// home, and none elsewhere. The third is released again.
func (c *cluster) locksWhileCutOff() (tickets []*recordv1.Ticket, refs []string) {
	c.t.Helper()
	type want struct {
		point  string
		status servicev1.Status
		means  code.Code
	}
	for _, w := range []want{{legOne, servicev1.Status_STATUS_HELD_LOCALLY, replica.LockHeldHere}, {fanOne, servicev1.Status_STATUS_UNCONFIRMED, replica.LockUnconfirmed},
		{legOne, servicev1.Status_STATUS_HELD_LOCALLY, replica.LockHeldHere}, {fanOne, servicev1.Status_STATUS_UNCONFIRMED, replica.LockUnconfirmed}} {
		act := lockOn(w.point, "", "")
		act.Ticket = c.ticket()
		rec, err := c.submitAt("ravi", "millrow", 100, act)
		if err != nil || rec.GetStatus() != w.status || !code.Is(rec.GetMeans(), w.means) || rec.GetOutcome() != nil {
			c.t.Errorf("a lock on %s while cut off: %v %v, want %v", w.point, rec, err, w.status)
		}
		tickets, refs = append(tickets, act.Ticket), append(refs, rec.GetRef())
	}
	rel, err := c.submitAt("ravi", "millrow", 100, actRelease(refs[2]))
	if err != nil || rel.GetStatus() != servicev1.Status_STATUS_WRITTEN || !code.Is(rel.GetMeans(), replica.ReleaseWritten) {
		c.t.Errorf("a release while cut off: %v %v", rel, err)
	}
	return tickets, refs
}

// locksArrive: once a second yard is back, what was written down is confirmed under the
// reference given, and the lock that is off protects nobody.
func (c *cluster) locksArrive(tickets []*recordv1.Ticket, refs []string) {
	c.t.Helper()
	for i, k := range tickets {
		if i == 2 {
			continue
		}
		c.until(refs[i]+" is confirmed", func() bool {
			r, err := c.receiptAtMillrow(k, 2000)
			return err == nil && r.GetReceipt().GetStatus() == servicev1.Status_STATUS_CONFIRMED && r.GetReceipt().GetRef() == refs[i]
		})
	}
	r, err := c.receiptAtMillrow(tickets[2], 5000)
	if err != nil || !code.Is(r.GetReceipt().GetMeans(), replica.LockIsOff, replica.LockEnded) || len(r.GetReceipt().GetPromised()) > 0 {
		c.t.Errorf("the receipt of a lock that is off: %v %v", r, err)
	}
}

// inOrder: every record of millrow is in the ledger once, in the order of its journal.
func (c *cluster) inOrder() {
	c.t.Helper()
	next := uint64(1)
	for _, o := range c.replay(c.same(c.size("millrow"), "millrow", "eastfork", "stonebend")) {
		if hasCond(o, ledger.InLedger) || hasCond(o, ledger.SeqGap) {
			c.t.Errorf("entry %d: %s was sent twice or out of order", o.GetIndex(), o.GetRef())
		}
		if strings.HasPrefix(o.GetRef(), "millrow/1/") {
			if o.GetRef() != fmt.Sprintf("millrow/1/%d", next) {
				c.t.Errorf("entry %d is %s, want record %d", o.GetIndex(), o.GetRef(), next)
			}
			next++
		}
	}
	if next < 7 {
		c.t.Errorf("only %d records of millrow", next-1)
	}
}

// TestPowerLossWhileCutOff is decisions.md 11: cut off, kill -9, start, lock:
// HELD_LOCALLY.
func TestPowerLossWhileCutOff(t *testing.T) {
	t.Parallel()
	c := three(t, processes(t))
	c.twoPoints()
	c.size("millrow")
	c.kill("stonebend")
	c.kill("eastfork")
	c.cutOff("millrow")
	if rec, err := c.submitAt("ravi", "millrow", 100, lockOn(legOne, "", "")); err != nil || rec.GetStatus() != servicev1.Status_STATUS_HELD_LOCALLY {
		t.Fatalf("a lock before the power failed: %v %v", rec, err)
	}
	c.kill("millrow")
	c.start("millrow")
	rec, err := c.submitAt("ravi", "millrow", 100, lockOn(legOne, "", ""))
	if err != nil || rec.GetStatus() != servicev1.Status_STATUS_HELD_LOCALLY || rec.GetRef() == "" {
		t.Fatalf("a lock after the power came back: %v %v", rec, err)
	}
	b := c.cutOff("millrow")
	if b.GetAsOf().GetSize() == 0 {
		t.Error("the state did not come back")
	}
	// Its own board says what only it knows, and that the lock is held.
	if n := len(b.GetWrittenHere()); n != 2 || b.GetWrittenHere()[1].GetRef() != rec.GetRef() || !slices.Equal(code.Names(b.GetWrittenHere()[1].GetWorth(), "points"), []string{legOne}) {
		t.Errorf("written down here only: %v", b.GetWrittenHere())
	}
}
