package ledger_test

import (
	"bytes"
	"crypto/ed25519"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The counterexamples named here are those of the project's own protocol model
// (protocol.md 1, C8 to C12); no outside source describes this protocol.

// walkdown is a recovery of stonebend that found nothing, for the next epoch, on
// a fresh disk with the named key.
func (w *world) walkdown(disk string) *recordv1.RecoverYard {
	return &recordv1.RecoverYard{Yard: "stonebend", Second: "ines", Epoch: w.s.Yards["stonebend"].Epoch + 1, Key: pub(key(disk)),
		Address: "127.0.0.1:9", OldMachineOff: true}
}

func actRecover(r *recordv1.RecoverYard) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_RecoverYard{RecoverYard: r}}
}

// recoverWith sends a recovery signed by nia and by the keys named, in order.
func (w *world) recoverWith(r *recordv1.RecoverYard, keys ...ed25519.PrivateKey) *recordv1.Outcome {
	w.t.Helper()
	return w.put(ledger.DirectEntry(signed(w.t, seal.RecordDomain, marshal(w.t, w.record("nia", actRecover(r))), keys...)))
}

// recover sends a recovery as it should be signed, and lets the fresh disk write
// the yard's journal from then on.
func (w *world) recover(r *recordv1.RecoverYard, disk string) *recordv1.Outcome {
	w.t.Helper()
	o := w.must(w.recoverWith(r, w.keys["nia"], w.keys["ines"], key(disk)))
	w.keys["stonebend"], w.last["stonebend"] = key(disk), nil
	return o
}

// managed has a second manager, ines.
func (w *world) managed() *world {
	w.t.Helper()
	w.joinPerson(person("ines", false, manager))
	return w
}

// TestRecoveredYard: a recovered yard starts over with a new journal and a new
// key, and the old key is revoked for ever.
func TestRecoveredYard(t *testing.T) {
	w, holds := ready(t)
	w.managed()
	old := w.keys["stonebend"]
	w.recover(w.walkdown("second disk"), "second disk")
	y := w.s.Yards["stonebend"]
	if y.Epoch != 2 || y.Drained != 0 || len(y.Hashes) != 0 || y.Address != "127.0.0.1:9" || !bytes.Equal(y.Key, pub(key("second disk"))) {
		t.Errorf("the yard after its recovery: %+v", y)
	}
	if w.s.KeyOf(pub(old)).Revoked == 0 {
		t.Error("the old replica's key is live")
	}
	if k := w.s.KeyOf(y.Key); k == nil || k.Yard != "stonebend" || k.Revoked > 0 {
		t.Errorf("the new replica's key: %+v", k)
	}
	if m := w.s.Points[feeder].Moved; m != (ledger.Moved{Epoch: 2}) {
		t.Errorf("moved of the feeder is %+v, want epoch 2, 0 (decisions.md 3)", m)
	}
	if m := w.s.Points[control].Moved; m.Epoch == 2 {
		t.Errorf("moved of millrow's point changed: %+v", m)
	}
	if !w.s.Holds[holds["lena "+feeder]].Active() {
		t.Error("a lock from before the loss is gone")
	}
	if ref := w.must(w.journal("stonebend", "tomas", actLock(feeder, "tomas-1", ""))).GetRef(); ref != "stonebend/2/1" {
		t.Errorf("the first record of the new journal is %s", ref)
	}
	if a, b := w.s.AppendCanonical(nil), w.s.Clone().AppendCanonical(nil); !bytes.Equal(a, b) {
		t.Error("the state does not survive a snapshot")
	}
}

// TestWalkdownMerges (C8): a lock found in the walkdown is a new hold beside the
// old one of the same person. A release signed before the loss ends the old one.
func TestWalkdownMerges(t *testing.T) {
	w, holds := ready(t)
	w.managed()
	before := holds["lena "+feeder]
	early := w.sign("lena", actRelease(before))
	r := w.walkdown("second disk")
	on := &recordv1.Target{On: &recordv1.Target_Point{Point: feeder}}
	r.Locks = []*recordv1.WalkedLock{{Target: on, Holder: "lena", Job: "boot-1"}, {Target: on, Seen: "brass, no tag"}}
	o := w.recover(r, "second disk")
	hers, unknown := ledger.Ref("stonebend", 2, ledger.WalkedSeq), ledger.Ref("stonebend", 2, ledger.WalkedSeq+1)
	for _, ref := range []string{before, hers, unknown} {
		if h := w.s.Holds[ref]; h == nil || !h.Active() || h.Point != feeder {
			t.Fatalf("hold %s after the walkdown: %+v", ref, h)
		}
	}
	if w.s.Holds[unknown].Holder != "" || !flagged(o, ledger.OwnerUnknown) || len(w.s.Holds[hers].Flags) != 0 {
		t.Errorf("found lock of nobody known: %+v; lena's: %+v", w.s.Holds[unknown], w.s.Holds[hers].Flags)
	}
	w.must(w.envelope("millrow", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: early}}))
	if w.s.Holds[before].Active() || !w.s.Holds[hers].Active() {
		t.Error("the release signed before the loss must end the old hold and no other")
	}
	w.refusedWith(w.journal("stonebend", "ravi", actRelease(hers)), ledger.NotYourLock)
	w.must(w.journal("stonebend", "lena", actRelease(hers)))
	w.refusedWith(w.journal("stonebend", "lena", actRelease(unknown)), ledger.NotClaimed)
}

// TestRecoverByReplay (C9): the disk is lost twice. The first recovery, sent again,
// does not bring the first spare disk's epoch back, and no key serves two disks.
func TestRecoverByReplay(t *testing.T) {
	w := coop(t).managed()
	first := signed(t, seal.RecordDomain, marshal(t, w.record("nia", actRecover(w.walkdown("second disk")))), w.keys["nia"], w.keys["ines"], key("second disk"))
	w.must(w.put(ledger.DirectEntry(first)))
	w.recover(w.walkdown("third disk"), "third disk")
	if o := w.put(ledger.DirectEntry(first)); o.GetAccepted() {
		t.Error("the first recovery counts a second time")
	}
	w.refusedWith(w.recoverWith(w.walkdown("second disk"), w.keys["nia"], w.keys["ines"], key("second disk")), ledger.KeyInUse)
	stale := w.walkdown("fourth disk")
	stale.Epoch = 2
	w.refusedWith(w.recoverWith(stale, w.keys["nia"], w.keys["ines"], key("fourth disk")), ledger.EpochOutOfTurn)
	if y := w.s.Yards["stonebend"]; y.Epoch != 3 || !bytes.Equal(y.Key, pub(key("third disk"))) {
		t.Errorf("the yard is in epoch %d with key %s", y.Epoch, seal.Fingerprint(y.Key))
	}
}

// TestRecoverWhileOldReplicaRuns (C10, C12): the record says first that the old
// machine is off; what it wrote arrives too late, eats no place of the new journal,
// and stops nobody.
func TestRecoverWhileOldReplicaRuns(t *testing.T) {
	w := drawn(t).managed()
	running := w.walkdown("second disk")
	running.OldMachineOff = false
	w.refusedWith(w.recoverWith(running, w.keys["nia"], w.keys["ines"], key("second disk")), ledger.OldMachineOn)
	late := w.seal("stonebend", &recordv1.Envelope{Ledger: w.id, Yard: "stonebend", Epoch: 1, Seq: w.s.Yards["stonebend"].Drained + 1,
		Previous: w.last["stonebend"], Body: &recordv1.Envelope_Signed{Signed: w.sign("ravi", actLock(feeder, "ravi-1", ""))}})
	w.recover(w.walkdown("second disk"), "second disk")
	w.refusedWith(w.put(ledger.JournalEntry(late)), ledger.OldEpoch)
	if y := w.s.Yards["stonebend"]; y.Drained != 0 || y.Cloned {
		t.Errorf("a record of the lost journal took a place: %+v", y)
	}
	if ref := w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", ""))).GetRef(); ref != "stonebend/2/1" {
		t.Errorf("the new lock is %s", ref)
	}
}

// TestGoAheadOutlivesReplica (C11): somebody was told to close the feeder and the
// disk died. The walkdown found it open: the recovery says whom to look for.
func TestGoAheadOutlivesReplica(t *testing.T) {
	w := released(t).managed()
	w.approve("start-1", "boot-1", feeder, control)
	w.must(w.journal("stonebend", "mara", actEnergise("start-1", feeder)))
	o := w.recover(w.walkdown("second disk"), "second disk")
	if !flagged(o, ledger.MayBeTold) {
		t.Errorf("nothing warns of the go-ahead that was shown: %v", o.GetFlags())
	}
	w.keys["stonebend"] = key("second disk")
	r := w.walkdown("third disk")
	r.Closed = []string{feeder}
	if o := w.recover(r, "third disk"); has(flagConditions(o, ledger.MayBeTold), ledger.MayBeTold, feeder) {
		t.Errorf("found closed, and still somebody is looked for: %v", o.GetFlags())
	}
}

// flagConditions are the flags of one code, as conditions.
func flagConditions(o *recordv1.Outcome, c code.Code) (out []*recordv1.Finding) {
	for _, f := range o.GetFlags() {
		if code.Is(f, c) {
			out = append(out, &recordv1.Finding{Code: f.GetCode(), Subject: f.GetSubject()})
		}
	}
	return out
}

// TestRecoverKeepsOpenRequests: what waits on the recovered yard's word, or has it
// from the lost journal, is void; another yard's request stands.
func TestRecoverKeepsOpenRequests(t *testing.T) {
	for _, approved := range []bool{false, true} {
		w := released(t).managed()
		if approved {
			w.approve("start-1", "boot-1", feeder, control)
		} else {
			w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)))
		}
		w.recover(w.walkdown("second disk"), "second disk")
		if st := w.s.Reqs["start-1"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
			t.Errorf("approved %v: the request is %v after the recovery", approved, st)
		}
		w.refusedWith(w.journal("millrow", "mara", actEnergise("start-1", control)), ledger.NotApproved)
		w.must(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)))
	}
}

// TestStaleOpeningAfterRecovery: an opening signed against the lost journal does
// not count in the new one (decisions.md 3).
func TestStaleOpeningAfterRecovery(t *testing.T) {
	w := drawn(t).managed()
	old := w.actIsolate(feeder)
	w.recover(w.walkdown("second disk"), "second disk")
	if o := w.journal("stonebend", "ravi", old); !flagged(o, ledger.StaleOpening) || !w.s.Points[feeder].Live {
		t.Errorf("an opening from before the loss counts: %v", o.GetDid())
	}
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	if w.s.Points[feeder].Live {
		t.Error("an opening after the recovery does not count")
	}
}

// TestWalkdownFindings: a handle seen closed is live and everybody sees it, and
// whoever is inside counts as signed on until they sign off (decisions.md 12).
func TestWalkdownFindings(t *testing.T) {
	w := released(t).managed()
	r := w.walkdown("second disk")
	r.Closed, r.Inside = []string{feeder}, []*recordv1.WalkedPerson{{Person: "lena", Job: "boot-1"}}
	w.recover(r, "second disk")
	if !w.s.Points[feeder].Live {
		t.Error("the feeder was seen closed and is not live")
	}
	alarm := false
	for _, a := range w.s.Alarms {
		alarm = alarm || a.Code == string(ledger.FoundClosed) && a.Subject == feeder
	}
	if !alarm {
		t.Errorf("no alarm for it: %v", w.s.Alarms)
	}
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, control)), ledger.ReachesPeople)
	on := ledger.Ref("stonebend", 2, ledger.WalkedSeq)
	w.refusedWith(w.journal("stonebend", "ravi", actSignOff(on)), ledger.NotYourSignOn)
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	if so := w.s.SignOns[on]; so == nil || !so.Off.Set() {
		t.Error("lena could not sign off what the walkdown entered")
	}
}

// TestClonedYardRecovers: a yard that two machines wrote starts again.
func TestClonedYardRecovers(t *testing.T) {
	w := drawn(t).managed()
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "")))
	w.last["stonebend"] = bytes.Repeat([]byte{1}, 32)
	w.refusedWith(w.journal("stonebend", "ravi", actLock(feeder, "ravi-2", "")), ledger.ClonedJournal)
	w.recover(w.walkdown("second disk"), "second disk")
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-2", "")))
	for _, a := range w.s.Alarms {
		if a.Code == string(ledger.ClonedJournal) {
			t.Errorf("the alarm stands after the recovery: %v", a)
		}
	}
}

// TestRecoveryRefused: every single thing that a recovery must have, missing once.
func TestRecoveryRefused(t *testing.T) {
	w := coop(t).managed()
	w.must(w.direct("nia", actPoint("millrow/p/d")))
	nia, ines, disk, ravi := w.keys["nia"], w.keys["ines"], key("second disk"), w.keys["ravi"]
	keys := func(k ...ed25519.PrivateKey) []ed25519.PrivateKey { return k }
	lock := func(point, holder string) []*recordv1.WalkedLock {
		return []*recordv1.WalkedLock{{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Holder: holder}}
	}
	w.must(w.direct("nia", actPoint("stonebend/p/d")))
	for name, c := range map[string]struct {
		spoil func(*recordv1.RecoverYard)
		keys  []ed25519.PrivateKey
		code  code.Code
	}{
		"one manager":             {nil, keys(nia, disk), ledger.WrongSignatures},
		"no new replica":          {nil, keys(nia, ines), ledger.WrongSignatures},
		"another replica":         {nil, keys(nia, ines, key("a stranger's disk")), ledger.NewKeySignsLast},
		"one twice":               {nil, keys(nia, nia, disk), ledger.SignedTwice},
		"not in order":            {nil, keys(ines, nia, disk), ledger.SignaturesOutOfOrder},
		"a stranger beside":       {nil, keys(nia, ines, disk, ravi), ledger.WrongSignatures},
		"second is the first":     {func(r *recordv1.RecoverYard) { r.Second = "nia" }, keys(nia, key("nia's second"), disk), ledger.BadField},
		"new replica first":       {nil, keys(nia, disk, ines), ledger.NewKeySignsLast},
		"another for the second":  {nil, keys(nia, ravi, disk), ledger.NotCountersigned},
		"second is nobody":        {func(r *recordv1.RecoverYard) { r.Second = "zoe" }, nil, ledger.UnknownPerson},
		"second is no manager":    {func(r *recordv1.RecoverYard) { r.Second = "ravi" }, keys(nia, ravi, disk), ledger.SecondNotManager},
		"unknown yard":            {func(r *recordv1.RecoverYard) { r.Yard = "nowhere" }, nil, ledger.UnknownYard},
		"epoch too high":          {func(r *recordv1.RecoverYard) { r.Epoch = 3 }, nil, ledger.EpochOutOfTurn},
		"epoch as it is":          {func(r *recordv1.RecoverYard) { r.Epoch = 1 }, nil, ledger.EpochOutOfTurn},
		"its old key":             {func(r *recordv1.RecoverYard) { r.Key = pub(key("stonebend")) }, keys(nia, ines, key("stonebend")), ledger.KeyInUse},
		"a person's key":          {func(r *recordv1.RecoverYard) { r.Key = pub(ravi) }, keys(nia, ines, ravi), ledger.KeyInUse},
		"no address":              {func(r *recordv1.RecoverYard) { r.Address = "" }, nil, ledger.BadField},
		"point unknown":           {func(r *recordv1.RecoverYard) { r.Closed = []string{"stonebend/p/e"} }, nil, ledger.WalkedUnknown},
		"another yard's point":    {func(r *recordv1.RecoverYard) { r.Closed = []string{"millrow/p/d"} }, nil, ledger.WalkedElsewhere},
		"lock on unknown":         {func(r *recordv1.RecoverYard) { r.Locks = lock("stonebend/p/e", "") }, nil, ledger.WalkedUnknown},
		"lock at another yard":    {func(r *recordv1.RecoverYard) { r.Locks = lock("millrow/p/d", "") }, nil, ledger.WalkedElsewhere},
		"lock of nobody enrolled": {func(r *recordv1.RecoverYard) { r.Locks = lock("stonebend/p/d", "zoe") }, nil, ledger.WalkedHolderUnknown},
		"nobody enrolled inside": {func(r *recordv1.RecoverYard) {
			r.Inside = []*recordv1.WalkedPerson{{Person: "zoe"}}
		}, nil, ledger.InsideUnknown},
	} {
		before := w.s.Clone()
		r := w.walkdown("second disk")
		if c.spoil != nil {
			c.spoil(r)
		}
		if c.keys == nil {
			c.keys = keys(nia, ines, disk)
		}
		o := w.recoverWith(r, c.keys...)
		if o.GetAccepted() || !has(o.GetConditions(), c.code, "") {
			t.Errorf("%s: accepted %v, %v; want %s", name, o.GetAccepted(), codes(o), c.code)
		}
		y, was := w.s.Yards["stonebend"], before.Yards["stonebend"]
		if y.Epoch != was.Epoch || !bytes.Equal(y.Key, was.Key) || len(w.s.Holds) != len(before.Holds) || w.s.Points["stonebend/p/d"].Moved != before.Points["stonebend/p/d"].Moved {
			t.Errorf("%s: a refused recovery changed the yard", name)
		}
	}
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "ines", Key: pub(ines), Why: "lost"}}}))
	w.refusedWith(w.recoverWith(w.walkdown("second disk"), nia, ines, disk), ledger.KeyRevoked)
	if r := proto.CloneOf(w.walkdown("second disk")); len(ledger.Check(w.record("nia", actRecover(r)))) > 0 {
		t.Error("a good recovery has a bad shape")
	}
}

// TestRecoveryOneHand: a manager who gave the other their key is no second one, as
// for a removal: it could be one hand with two keys (decisions.md 21).
func TestRecoveryOneHand(t *testing.T) {
	w := coop(t).managed()
	w.must(w.together("nia", actReissueKey("ines", "mallory")))
	w.refusedWith(w.recoverWith(w.walkdown("second disk"), w.keys["nia"], key("mallory"), key("second disk")), ledger.OneHand)
	w.joinPerson(person("oskar", false, manager))
	r := w.walkdown("second disk")
	r.Second = "oskar"
	w.must(w.recoverWith(r, w.keys["nia"], w.keys["oskar"], key("second disk")))
}
