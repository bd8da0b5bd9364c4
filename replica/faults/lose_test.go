package faults_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"yardhasp/client/keys"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica"
)

var losing = flag.Int("losing", 6, "how many scenarios in which a yard loses its disk, from -seed on")

// lose destroys a yard's disk at this instant. Two managers walk the yard down, sign
// for the fresh machine, and it takes the yard up while the faults go on.
func (w *world) lose(ctx context.Context, yard string, off, later time.Duration, seed int64) error {
	synctest.Wait() // no second crash at this very moment
	w.story.tell("FAULT %s burns down with its disk", yard)
	if err := w.crash(yard, false); err != nil {
		return err
	}
	from, _ := others(yard)
	founding, err := os.ReadFile(filepath.Join(w.dirs[from], "founding"))
	p := replica.Recovering{Dir: filepath.Join(w.root, yard+"-fresh"), Yard: yard, Listen: at(yard), Address: at(yard), Timers: "lan", Founding: founding, Ledger: w.id}
	w.mu.Lock()
	defer w.mu.Unlock()
	mine := -1
	for i, y := range w.known {
		p.Yards = append(p.Yards, &recordv1.YardInfo{Id: y.ID, Name: y.Name, Address: y.Address, ReplicaKey: y.Key})
		if y.ID == yard {
			mine = i
		}
	}
	public, e := replica.PrepareRecovery(p)
	// Read now: a crash moves the directory, and the people have the key by then.
	key, keyErr := keys.Read(filepath.Join(p.Dir, "replica.key"), nil)
	if err = errors.Join(err, e, keyErr); err != nil {
		return err
	}
	w.dirs[yard], w.known[mine].Key, w.lost, w.synced[yard] = p.Dir, public, yard, ""
	if old := w.raws[yard]; old != nil {
		err = old.Close()
		delete(w.raws, yard)
	}
	rec := &recordv1.RecoverYard{Yard: yard, Second: managers[0], Epoch: 2, Key: public, Address: at(yard), OldMachineOff: true, Locks: w.story.hanging(yard)}
	w.restarts.Go(func() {
		pass(off)
		if w.free[yard].Load() < full { // the disk of the fresh machine is another one
			w.free[yard].Store(plenty)
		}
		if e := w.start(yard); e != nil {
			w.fails(e)
		}
	})
	w.restarts.Go(func() {
		pass(later)
		w.takeUp(ctx, from, rec, key, seed)
	})
	return err
}

// hanging is what a walkdown sees at a yard that lost its journal: what went on at
// its points through that journal, whether or not anybody was answered, and was not
// taken off. What other journals have is in the ledger, or comes.
func (s *story) hanging(yard string) (locks []*recordv1.WalkedLock) {
	s.mu.Lock()
	defer s.mu.Unlock()
	gone := map[string]bool{}
	for _, o := range s.ops {
		gone[ledger.RefOf(o.rec.GetRelease().GetHold())] = true
	}
	for _, o := range s.ops {
		l, ref := o.rec.GetLock(), o.receipt.GetRef()
		who, through, _ := strings.Cut(o.who, "@")
		if l != nil && ledger.YardOf(l.GetTarget().GetPoint()+l.GetTarget().GetBox()) == yard && (ref == "" && through == yard || ref != "" && ledger.YardOf(ref) == yard) && !gone[ref] {
			locks = append(locks, &recordv1.WalkedLock{Target: l.GetTarget(), Holder: who, Job: l.GetJob()})
		}
	}
	return locks
}

// takeUp has the recovery recorded, however often that takes, and lets the people of
// the yard work there again, with the locks that were found.
func (w *world) takeUp(ctx context.Context, from string, rec *recordv1.RecoverYard, fresh ed25519.PrivateKey, seed int64) {
	patient, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	k := w.as(manager, from, "walkdown")
	defer k.Close()
	d, err := k.NewDraft(&recordv1.Record{Act: &recordv1.Record_RecoverYard{RecoverYard: rec}})
	if err == nil {
		second := w.as(rec.GetSecond(), from, "walkdown-2")
		err = errors.Join(second.Countersign(d), second.Close())
	}
	if err == nil {
		err = d.CountersignNewKey(fresh)
	}
	o := &op{who: manager + "+" + rec.GetSecond(), what: "take up " + rec.GetYard(), kind: "recover_yard"}
	if err == nil {
		o.rec = d.Record()
		w.story.begin(o)
	}
	for taken := false; err == nil && !taken; {
		one, stop := context.WithTimeout(patient, patience)
		r, e := k.Send(one, d)
		stop()
		if taken = r.GetOutcome().GetAccepted(); taken {
			w.story.answered(o, r, nil)
		} else {
			w.story.tell("%s is not taken up yet: %v", rec.GetYard(), e)
			err = pause(patient, time.Second)
		}
	}
	if err != nil {
		w.fails(err)
		return
	}
	w.story.finish(o, fmt.Sprintf("entry %d, with %d locks found", o.receipt.GetOutcome().GetIndex(), len(rec.GetLocks())))
	for who, yard := range workers {
		if yard != rec.GetYard() {
			continue
		}
		p := w.person(who, yard, seed)
		p.k.Close()
		p.k = w.as(who, yard, who+"-again")
		defer p.k.Close()
		for i, l := range rec.GetLocks() {
			if l.GetHolder() == who {
				p.on = append(p.on, ledger.Ref(yard, rec.GetEpoch(), ledger.WalkedSeq+uint64(i)))
			}
		}
		p.work(ctx)
	}
}

// fails notes what ends the scenario.
func (w *world) fails(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.broken = errors.Join(w.broken, err)
}

// wentWith reports whether an answer promised no more than the yard's own disk, and
// that disk was lost.
func (w *world) wentWith(o *op) bool {
	return w.lost != "" && o.receipt.GetOutcome() == nil && strings.HasPrefix(o.receipt.GetRef(), w.lost+"/1/")
}

// TestLostDiskUnderFaults: a yard's disk is lost for good, with what only its journal
// had, while the others crash, are cut off and change leaders. What the ledger had
// answered for stays, what hung there stands again by the walkdown, and no start is
// early (protocol.md C8 to C12).
func TestLostDiskUnderFaults(t *testing.T) {
	tpl := makeTemplate(t)
	var sum tally
	var early, went atomic.Int64
	t.Run("all", func(t *testing.T) {
		for i := range int64(*losing) {
			t.Run(fmt.Sprintf("seed-%d", *first+i), func(t *testing.T) {
				t.Parallel()
				w := play(t, tpl, *first+i, &sum, func(w *world) { w.loses = yards[w.rng.Intn(3)] })
				if w.lost == "" {
					t.Error("no disk was lost")
				}
				if w.story.amid(" locks found") {
					early.Add(1)
				}
				for _, o := range w.story.ops {
					if w.wentWith(o) {
						went.Add(1)
					}
				}
			})
		}
	})
	t.Logf("%d scenarios: %s; a yard was taken up amid faults in %d; %d answers of the lost journals alone", *losing, &sum, early.Load(), went.Load())
	if early.Load() == 0 || went.Load() == 0 || sum.crashes.Load() == 0 {
		t.Error("the scenarios leave out what they are for")
	}
}
