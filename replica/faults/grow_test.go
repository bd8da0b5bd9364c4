package faults_test

import (
	"context"
	"flag"
	"fmt"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"yardhasp/client/token"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

var growing = flag.Int("growing", 6, "how many scenarios in which a yard joins, from -seed on")

// grow lets a fourth yard join while the faults go on, as its people would: the same
// commands again until they are taken. Then somebody works there.
func (w *world) grow(ctx context.Context, from, toward string, delay time.Duration, seed int64) {
	pass(delay)
	w.story.tell("%s is invited at %s", newcomer, from)
	inv := forYard(newcomer)
	text, err := token.Encode(w.invitation(token.Yard, newcomer, inv))
	boss := w.person(managers[0], from, seed)
	boss.k.Close()
	boss.k = w.as(managers[0], from, "inviter")
	defer func() { boss.k.Close() }()
	// It goes on after the people went home: by then the faults are over.
	patient, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	taken := func(what string, rec *recordv1.Record) {
		for err == nil {
			r := boss.submit(patient, what, rec)
			if r.GetOutcome().GetAccepted() || boss.refused(what, ledger.InvitationExists, ledger.PointExists, ledger.BoxExists) {
				return
			}
			err = pause(patient, time.Second)
		}
	}
	taken("invites "+newcomer, &recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}})
	for err == nil {
		one, stop := context.WithTimeout(patient, 10*time.Second)
		_, e := replica.Join(one, replica.Joining{Dir: w.dirs[newcomer], Listen: at(newcomer), Address: at(newcomer), Timers: "lan", Token: text,
			Dial: func(ctx context.Context, address string) (net.Conn, error) { return w.net.dial(ctx, newcomer, address) }})
		if stop(); e == nil {
			break
		}
		w.story.tell("%s did not join yet: %v", newcomer, e)
		err = pause(patient, time.Second)
	}
	if err == nil {
		w.mu.Lock()
		err = w.meet(newcomer)
		w.grown = err == nil
		w.mu.Unlock()
	}
	if err == nil {
		w.story.tell("%s joins", newcomer)
		err = w.start(newcomer)
	}
	taken("registers "+point(newcomer), says("register-point %s", point(newcomer)))
	if err != nil {
		w.mu.Lock()
		w.broken = fmt.Errorf("%s does not join: %w", newcomer, err)
		w.mu.Unlock()
		return
	}
	p := w.person("dov", newcomer, seed+1)
	defer p.k.Close()
	p.work(ctx)
}

// refused reports whether the last answer to an act was a refusal with a code.
func (p *person) refused(what string, with ...code.Code) bool {
	o := p.w.story.last(p.id+"@"+p.yard, what)
	return o != nil && o.refused != nil && code.Has(o.refused.Outcome.GetConditions(), with...)
}

// voting waits until every yard that has a replica has a vote.
func (w *world) voting() error { return w.votes(len(w.all()), "") }

// votes waits until so many yards have a vote, as one tells that is not cut off.
func (w *world) votes(n int, cutOff string) error {
	voters := uint32(0)
	ask := yards[0]
	if ask == cutOff {
		ask = yards[1]
	}
	for range 90 {
		if conn, err := w.raw(ask); err == nil {
			ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
			m, err := servicev1.NewMembershipServiceClient(conn).GetMembers(ctx, &servicev1.GetMembersRequest{})
			cancel()
			if voters = m.GetVoters(); err == nil && int(voters) == n && m.GetHasQuorum() {
				return nil
			}
		}
		pass(2 * time.Second)
	}
	return fmt.Errorf("three minutes later %d of %d yards have a vote", voters, n)
}

// TestJoinUnderFaults: a fourth yard joins and gets its vote while the others crash,
// are cut off and change leaders; all that the other scenarios ask holds, with four.
func TestJoinUnderFaults(t *testing.T) {
	tpl := makeTemplate(t)
	var sum tally
	var early atomic.Int64
	t.Run("all", func(t *testing.T) {
		for i := range int64(*growing) {
			t.Run(fmt.Sprintf("seed-%d", *first+i), func(t *testing.T) {
				t.Parallel()
				w := play(t, tpl, *first+i, &sum, func(w *world) { w.grows = true })
				if !w.grown {
					t.Error("no yard joined")
				}
				if w.story.amid(newcomer + " joins") {
					early.Add(1)
				}
			})
		}
	})
	t.Logf("%d scenarios: %s; a yard joined amid faults in %d", *growing, &sum, early.Load())
	if early.Load() == 0 || sum.crashes.Load() == 0 {
		t.Error("no yard joined amid faults: the scenarios leave out what they are for")
	}
}
