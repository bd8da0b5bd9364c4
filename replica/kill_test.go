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

// answers are all that clients got, while they still get more.
type answers struct {
	mu  sync.Mutex
	all []acked
}

func (a *answers) note(x acked) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.all = append(a.all, x)
}

// final counts those that are the ledger's own word.
func (a *answers) final() (n int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, x := range a.all {
		if x.final {
			n++
		}
	}
	return n
}

// usualKills is how many processes TestKillUnderLoad kills; the tag long sets more.
var usualKills = 6

// TestKillUnderLoad: never lets kill -9 of any replica at any moment lose an
// acknowledged record: every one is found on every replica, in the same order,
// under the same root. YARDHASP_KILLS sets how many kills.
func TestKillUnderLoad(t *testing.T) {
	t.Parallel()
	kills := usualKills
	if n, err := strconv.Atoi(os.Getenv("YARDHASP_KILLS")); err == nil && n > 0 {
		kills = n
	}
	c := three(t, processes(t))
	yards := []string{"stonebend", "millrow", "eastfork"}
	for _, y := range yards {
		c.do("nia", "stonebend", actPoint(y+"/panel-1/leg-1"))
		c.as("nia", y)
	}
	got := &answers{}
	leaders := c.killUnderLoad(yards, kills, got)
	if leaders == 0 {
		t.Error("no leader was ever killed")
	}
	c.voters(3)
	final, leaves := c.allInLedger(got.all), c.size("stonebend")
	t.Logf("%d kills (%d of a leader), %d acknowledged, %d by the ledger, %d leaves", kills, leaders, len(got.all), final, leaves)
	if final < 20*kills {
		t.Errorf("only %d records were acknowledged by the ledger", final)
	}
	if final == len(got.all) {
		t.Error("no record was acknowledged by a journal alone")
	}
	c.same(leaves, yards...)
	for _, y := range yards {
		m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], y)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
		if err != nil || len(m.GetWrong()) > 0 {
			t.Errorf("%s is not well: %v %v", y, said(m.GetWrong()...), err)
		}
	}
}

// killUnderLoad kills replicas while a worker at each yard records, and returns how
// many were leaders. All are up again at the end, and the workers are done.
func (c *cluster) killUnderLoad(yards []string, kills int, got *answers) (leaders int) {
	c.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	var wg sync.WaitGroup
	for _, y := range yards {
		wg.Go(func() { c.worker(ctx, "nia", y, got.note) })
	}
	// Whatever ends the test ends the workers first.
	defer func() { cancel(); wg.Wait() }()
	for i := range kills {
		victim := yards[i%3]
		if i%2 == 0 {
			if lead := c.leaderSeenAt(yards[(i+1)%3]); lead != "" {
				victim, leaders = lead, leaders+1
			}
		}
		// Killed while answers come, and again soon after it is back.
		from := got.final()
		c.until("answers", func() bool { return got.final() >= from+10 })
		c.kill(victim)
		if i%3 == 2 {
			// A second one at the same time: only the disks hold what was answered.
			second := yards[(slices.Index(yards, victim)+1)%3]
			c.kill(second)
			c.start(second)
		}
		from = got.final()
		c.until("answers without "+victim, func() bool { return got.final() >= from+10 })
		c.start(victim)
	}
	return leaders
}

// leaderSeenAt is who leads, as a yard sees it; empty when it sees none.
func (c *cluster) leaderSeenAt(yard string) string {
	m, err := c.as("nia", yard).Members(c.ctx(), "")
	if err != nil {
		return ""
	}
	for _, k := range m.GetMembers() {
		if k.GetLeader() {
			return k.GetYard()
		}
	}
	return ""
}

// tally is what the ledger says of each record, by its reference and by its ticket.
type tally struct {
	fold            *ledger.State
	byRef, byTicket map[string]string
}

// take applies the next entry.
func (y *tally) take(e *ledger.Entry) {
	o, word := y.fold.Apply(e), "refused"
	if o.GetAccepted() {
		word = "accepted"
	}
	if hasCond(o, ledger.InLedger) || hasCond(o, ledger.TicketRepeated) {
		return // sent again after a lost answer: the first one counts
	}
	if o.GetRef() != "" {
		y.byRef[o.GetRef()] = word
	}
	if k := e.Record().GetTicket(); k != nil {
		y.byTicket[k.String()] = word
	}
}

// missing are the records that a journal acknowledged and the ledger does not have yet.
func (y *tally) missing(all []acked) (out []acked) {
	for _, a := range all {
		if a.ref != "" && y.byRef[a.ref] == "" {
			out = append(out, a)
		}
	}
	return out
}

// allInLedger folds the ledger until every journal is in it, demands that each record
// became what its answer said, and counts the answers that were the ledger's own.
func (c *cluster) allInLedger(all []acked) (final int) {
	c.t.Helper()
	y := &tally{fold: ledger.New(), byRef: map[string]string{}, byTicket: map[string]string{}}
	size := uint64(0)
	for len(y.missing(all)) > 0 {
		// Only time in which nothing new comes counts against the limit: 200 kills leave
		// a history that takes longer to fold than that.
		c.until("every journal is in the ledger", func() bool {
			b, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
			size = min(b.GetAsOf().GetSize(), y.fold.Size()+20_000)
			return err == nil && size > y.fold.Size()
		}, func() string { return c.whyMissing(y, all) })
		leaves, err := c.export("stonebend", y.fold.Size(), size)
		if err != nil {
			c.t.Fatal(err)
		}
		for _, raw := range leaves {
			e, err := ledger.Decode(raw)
			if err != nil {
				c.t.Fatalf("entry %d: %v", y.fold.Size(), err)
			}
			y.take(e)
		}
	}
	for _, a := range all {
		if got := y.byTicket[a.ticket.String()]; got == "" || a.final && got != "accepted" || a.ref != "" && y.byRef[a.ref] != got {
			c.t.Errorf("%s with ticket %v (%s) was acknowledged and is %q", a.what, a.ticket, a.ref, got)
		}
		if a.final {
			final++
		}
	}
	return final
}

// whyMissing tells what there is to know of records that do not come.
func (c *cluster) whyMissing(y *tally, all []acked) string {
	b, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	text := fmt.Sprintf("%d entries folded, the board has %d (%v)", y.fold.Size(), b.GetAsOf().GetSize(), err)
	for _, a := range y.missing(all) {
		yard := y.fold.Yards[ledger.YardOf(a.ref)]
		text += fmt.Sprintf("\n%s %s with ticket %v is not there; its journal is in the ledger up to %d/%d; the ticket is %q", a.what, a.ref, a.ticket, yard.Epoch, yard.Drained, y.byTicket[a.ticket.String()])
	}
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		m, err := servicev1.NewMembershipServiceClient(c.dial(c.keys["nia"], yard)).GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
		text += fmt.Sprintf("\n%s says %q (%v)", yard, said(m.GetWrong()...), err)
	}
	return text
}
