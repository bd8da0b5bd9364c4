package replica_test

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// acked is one answer that a client got.
type acked struct {
	what   string
	ticket *recordv1.Ticket
	ref    string
	final  bool // the ledger's own word, not only the yard's
}

// worker locks, releases and registers through one yard until ctx ends, and
// notes every answer. What is not answered may be there or not. Every other lock
// is answered by the yard's journal alone.
func (c *cluster) worker(ctx context.Context, person, yard string, note func(acked)) {
	l := c.raw(person, yard)
	sent := uint64(0)
	send := func(what string, waitMS uint32, rec *recordv1.Record) *servicev1.Receipt {
		// A device of their own: of one used at several yards the ledger refuses what comes
		// after more than a thousand younger tickets, unless it protects.
		sent++
		rec.Ticket = &recordv1.Ticket{Device: "raw-" + yard, Counter: sent}
		one, cancel := context.WithTimeout(ctx, 5*time.Second)
		defer cancel()
		res, err := l.Submit(one, &servicev1.SubmitRequest{Signed: c.sign(person, rec), WaitMs: waitMS}, grpc.WaitForReady(true))
		if err != nil {
			return nil
		}
		note(acked{what, rec.GetTicket(), res.GetReceipt().GetRef(), res.GetReceipt().GetOutcome().GetAccepted()})
		return res.GetReceipt()
	}
	for i := 0; ctx.Err() == nil; i++ {
		send("padlock", 4000, actPadlock(fmt.Sprintf("%s-%d", yard, i), "nia"))
		for _, wait := range []uint32{1, 4000} {
			if lock := send("lock", wait, lockOn(yard+"/panel-1/leg-1", "", "")); lock != nil {
				send("release", 1, actRelease(lock.GetRef()))
			}
		}
	}
}

// TestKillUnderLoad: never lets kill -9 of any replica at any moment lose an
// acknowledged record: every one is found on every replica, in the same order,
// under the same root. YARDHASP_KILLS sets how many kills; 6 otherwise.
func TestKillUnderLoad(t *testing.T) {
	t.Parallel()
	kills := 6
	if n, err := strconv.Atoi(os.Getenv("YARDHASP_KILLS")); err == nil && n > 0 {
		kills = n
	}
	c := three(t, processes(t))
	yards := []string{"stonebend", "millrow", "eastfork"}
	for _, y := range yards {
		c.do("nia", "stonebend", actPoint(y+"/panel-1/leg-1"))
		c.as("nia", y)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var mu sync.Mutex
	var all []acked
	count := func() (n int) {
		mu.Lock()
		defer mu.Unlock()
		for _, a := range all {
			if a.final {
				n++
			}
		}
		return n
	}
	var wg sync.WaitGroup
	for _, y := range yards {
		wg.Go(func() { c.worker(ctx, "nia", y, func(a acked) { mu.Lock(); all = append(all, a); mu.Unlock() }) })
	}
	// Whatever ends the test ends the workers first.
	defer func() { cancel(); wg.Wait() }()
	leaders := 0
	for i := range kills {
		victim := yards[i%3]
		if i%2 == 0 {
			m, err := c.as("nia", yards[(i+1)%3]).Members(c.ctx(), "")
			for _, k := range m.GetMembers() {
				if err == nil && k.GetLeader() {
					victim, leaders = k.GetYard(), leaders+1
				}
			}
		}
		// Killed while answers come, and again soon after it is back.
		from := count()
		c.until("answers", func() bool { return count() >= from+10 })
		c.kill(victim)
		if i%3 == 2 {
			// A second one at the same time: only the disks hold what was answered.
			second := yards[(slices.Index(yards, victim)+1)%3]
			c.kill(second)
			c.start(second)
		}
		from = count()
		c.until("answers without "+victim, func() bool { return count() >= from+10 })
		c.start(victim)
	}
	cancel()
	wg.Wait()
	if leaders == 0 {
		t.Error("no leader was ever killed")
	}

	c.voters(3)
	byRef, byTicket := map[string]string{}, map[string]string{}
	whole := func() bool {
		return !slices.ContainsFunc(all, func(a acked) bool { return a.ref != "" && byRef[a.ref] == "" })
	}
	fold, size := ledger.New(), uint64(0)
	for !whole() {
		// Only time in which nothing new comes counts against the limit: 200 kills leave
		// a history that takes longer to fold than that.
		c.until("every journal is in the ledger", func() bool {
			b, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
			size = min(b.GetAsOf().GetSize(), fold.Size()+20_000)
			return err == nil && size > fold.Size()
		}, func() string {
			b, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
			text := fmt.Sprintf("%d entries folded, the board has %d (%v)", fold.Size(), b.GetAsOf().GetSize(), err)
			for _, a := range all {
				if a.ref != "" && byRef[a.ref] == "" {
					y := fold.Yards[ledger.YardOf(a.ref)]
					text += fmt.Sprintf("\n%s %s with ticket %v is not there; its journal is in the ledger up to %d/%d; the ticket is %q", a.what, a.ref, a.ticket, y.Epoch, y.Drained, byTicket[a.ticket.String()])
				}
			}
			for _, y := range yards {
				m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], y)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
				text += fmt.Sprintf("\n%s says %q (%v)", y, m.GetHealth(), err)
			}
			return text
		})
		leaves, err := c.export("stonebend", fold.Size(), size)
		if err != nil {
			t.Fatal(err)
		}
		for _, raw := range leaves {
			e, err := ledger.Decode(raw)
			if err != nil {
				t.Fatalf("entry %d: %v", fold.Size(), err)
			}
			o, word := fold.Apply(e), "refused"
			if o.GetAccepted() {
				word = "accepted"
			}
			if hasCond(o, "ALREADY_IN_LEDGER") || hasCond(o, "TICKET_REPEATED") {
				continue // sent again after a lost answer: the first one counts
			}
			if o.GetRef() != "" {
				byRef[o.GetRef()] = word
			}
			if k := e.Record().GetTicket(); k != nil {
				byTicket[k.String()] = word
			}
		}
	}
	final := 0
	for _, a := range all {
		if got := byTicket[a.ticket.String()]; got == "" || a.final && got != "accepted" || a.ref != "" && byRef[a.ref] != got {
			t.Errorf("%s with ticket %v (%s) was acknowledged and is %q", a.what, a.ticket, a.ref, got)
		}
		if a.final {
			final++
		}
	}
	t.Logf("%d kills (%d of a leader), %d acknowledged, %d by the ledger, %d leaves", kills, leaders, len(all), final, fold.Size())
	if final < 20*kills {
		t.Errorf("only %d records were acknowledged by the ledger", final)
	}
	if final == len(all) {
		t.Error("no record was acknowledged by a journal alone")
	}
	c.same(c.size("stonebend"), yards...)
	for _, y := range yards {
		m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], y)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
		if err != nil || len(m.GetHealth()) > 0 {
			t.Errorf("%s is not well: %v %v", y, m.GetHealth(), err)
		}
	}
}
