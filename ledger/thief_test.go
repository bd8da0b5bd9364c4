package ledger_test

import (
	"bytes"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestNobodyReleasesAnothersLock tries to end lena's lock, and her sign-on, by
// every act the contract has, signed by a thief in every way a thief could: with
// their own name, with hers, with both signatures, replayed, with a younger key,
// through another yard. None may end it (1910.147(e)(3); design.md rule 2).
func TestNobodyReleasesAnothersLock(t *testing.T) {
	w, holds := ready(t)
	hold := holds["lena "+feeder]
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	stands := func(how string) {
		t.Helper()
		if h := w.s.Holds[hold]; h == nil || !h.Active() || h.Holder != "lena" {
			t.Fatalf("%s: lena's lock is gone", how)
		}
		if so := w.s.SignOns[on]; so == nil || so.Off.Set() {
			t.Fatalf("%s: lena is signed off", how)
		}
	}
	thieves := []string{"ravi", "mara", "nia", "dov", "tomas"}
	if testing.Short() {
		thieves = thieves[:3] // one each who locks, who supervises and who manages
	}
	attempts := 0
	for _, act := range everyAct(w, hold, on) {
		kind := ledger.KindOf(act)
		for _, thief := range thieves {
			for _, how := range []struct {
				name   string
				signer string
				keys   []string
			}{
				{"own name", thief, []string{thief}},
				{"her name, own key", "lena", []string{thief}},
				{"own name, two keys", thief, []string{thief, "nia"}},
			} {
				r := w.record(how.signer, act)
				body := marshal(t, r)
				s := &recordv1.Signed{Body: body}
				for _, k := range how.keys {
					s.Signatures = append(s.Signatures, &recordv1.Signature{Key: pub(w.keys[k]), Signature: seal.Sign(w.keys[k], seal.RecordDomain, body)})
				}
				for _, yard := range []string{"stonebend", "eastfork"} {
					w.envelope(yard, &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: marshal(t, s)}})
					stands(kind + " by " + thief + ", " + how.name + ", through " + yard)
					attempts++
				}
				if kind == "publish_drawing" {
					continue // valid ones would change the world for the rest
				}
				w.put(ledger.DirectEntry(marshal(t, s)))
				stands(kind + " by " + thief + ", " + how.name + ", direct")
				attempts++
			}
		}
	}
	// Her own signature over one record, moved onto another body.
	tried := w.sign("lena", &recordv1.Record{Act: &recordv1.Record_TriedHandle{TriedHandle: &recordv1.TriedHandle{Hold: ref(hold)}}})
	var m recordv1.Signed
	if err := proto.Unmarshal(tried, &m); err != nil {
		t.Fatal(err)
	}
	m.Body = marshal(t, w.record("lena", actRelease(hold)))
	w.refusedWith(w.envelope("stonebend", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: marshal(t, &m)}}), ledger.BadSignature)
	stands("signature moved to another body")
	// Her key revoked and another one invited in her name: it can't exist twice.
	w.refusedWith(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "again", Whom: &recordv1.Invite_Person{Person: person("lena", true, contractor)},
		OnceKey: pub(key("once again")), ExpiresUnixMs: w.now + 1e9}}}), ledger.Enrolled)
	// A thief of a disk: a machine that is not the yard's replica writes its journal.
	w.keys["stonebend"], w.keys["real"] = key("thief's machine"), w.keys["stonebend"]
	w.refusedWith(w.journal("stonebend", "lena", actRelease(hold)), ledger.OtherReplica)
	w.keys["stonebend"] = w.keys["real"]
	stands("another machine's journal")
	// A replayed release of hers ends what she released, not her later lock.
	rel := w.sign("lena", actRelease(holds["lena "+control]))
	w.must(w.envelope("stonebend", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: rel}}))
	again := w.must(w.journal("millrow", "lena", actLock(control, "lena-2", "boot-1"))).GetRef()
	w.refusedWith(w.envelope("eastfork", &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: rel}}), ledger.TicketRepeated)
	if !w.s.Holds[again].Active() {
		t.Fatal("a replayed release ended a later lock")
	}
	t.Logf("%d attempts", attempts)
}

// everyAct is one of each act of the contract, aimed at a hold and a sign-on.
// The test fails when the contract grows and this list does not.
func everyAct(w *world, hold, on string) []*recordv1.Record {
	d, _ := drawings()
	acts := []*recordv1.Record{
		{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "x", Whom: &recordv1.Invite_Person{Person: person("lena", true, contractor)}, OnceKey: pub(key("o")), ExpiresUnixMs: w.now + 1e9}}},
		{Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: "inv-lena", Key: pub(key("mallory"))}}},
		actPadlock("lena-9", "lena"), actPoint("stonebend/mcc-1/new"),
		{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-1"}}},
		{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(w.t, d)}}},
		{Act: &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: "stonebend", Revision: 1, DrawingHash: make([]byte, 32)}}},
		{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "dov", Key: pub(key("lena"))}}},
		{Act: &recordv1.Record_RecordTraining{RecordTraining: &recordv1.RecordTraining{Person: "lena", UntilUnixMs: 1}}},
		actRequest("thief", "boot-1", w.now+1e9, feeder),
		{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "thief"}}},
		{Act: &recordv1.Record_Expire{Expire: &recordv1.Expire{Request: "thief"}}},
		actRecover(&recordv1.RecoverYard{Yard: "stonebend", Second: "nia", Epoch: 2, Key: pub(key("mallory")), Address: "127.0.0.1:9", OldMachineOff: true}),
		actLock(feeder, "lena-1", "boot-1"),
		{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: feeder}}}}},
		actRelease(hold), w.actIsolate(feeder),
		{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: feeder}}},
		{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: feeder}}},
		actEnergise("thief", feeder),
		{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: "stonebend/box-1", Point: feeder}}},
		{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: "stonebend/box-1", Point: feeder}}},
		{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: "boot-1", Zone: zone, Plan: []string{feeder}, Responsible: "ravi", Affected: []string{"dov"}, Purpose: "x"}}},
		actSignOn("boot-1"), actSignOff(on), actShutDown("boot-1"), actRemark("boot-1"),
		actReading("boot-1", motor, recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, 0),
		{Act: &recordv1.Record_FoundLive{FoundLive: &recordv1.FoundLive{Job: "boot-1", Part: motor, What: "x"}}},
		{Act: &recordv1.Record_CorrectFoundLive{CorrectFoundLive: &recordv1.CorrectFoundLive{Found: ref(hold), Cause: "x"}}},
		actStored("boot-1", bucket), actNotice("boot-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"), actClear("boot-1"),
		{Act: &recordv1.Record_TriedHandle{TriedHandle: &recordv1.TriedHandle{Hold: ref(hold)}}},
		{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: "boot-1"}}},
		actRemoval(hold, "nia"), actHandOver([]string{"lena"}, hold, "stonebend/1/4"), actClaim(hold, "nia"), actAcknowledge(hold),
		actIssueBin("in-1", "boot-1", w.now+3_600_000, bin()), actClosePermit("in-1"), actAir("boot-1", zone, recordv1.AirLevel_AIR_LEVEL_TOP, clean()...),
		actStand("boot-1", recordv1.Duty_DUTY_OBSERVER), actLeave(hold), actHotDone("in-1"), actFumigated("stonebend/bin-9"), actFumigantCleared(hold, 0),
		w.actStandClear(hold, "thief"), actTakeOver("boot-1", "ravi"), actReplaceKey("mallory"), actReissueKey("lena", "mallory"), actFoundStarted("the leg was jogged", feeder),
		actMoveKey("lena-1", recordv1.KeyMove_KEY_MOVE_TAKEN_OUT, "ravi", hold), actIssue("lena-1", "ravi"),
		actReport("lena-1", recordv1.PadlockTrouble_PADLOCK_TROUBLE_KEY_LOST),
		{Act: &recordv1.Record_ClearPadlock{ClearPadlock: &recordv1.ClearPadlock{Serial: "lena-1", Trouble: recordv1.PadlockTrouble_PADLOCK_TROUBLE_KEY_LOST, Why: "x"}}},
		actReview(hold, w.now+1e9), actDescribe(&recordv1.DescribePoint{Point: feeder, NotLockable: true, Why: "x"}),
		actChoked(zone), actClearChoke(hold, true), actNarrow(zone, feeder),
		actReleaseWhy(hold, "the machine is back"), actEquipment(feeder, "lena-1", w.now+1e9),
		actProcedure(1), actApprove(1), actRequire("stonebend", w.now), actAttest("boot-1"), actInspect(1, w.now, "lena"), actCoordinator("boot-1", "ravi", ""),
		actCrew("boot-1", "millwrights", "lena"), actAnswer("boot-1", verified), actExchange("stonebend", "Three Forks Grain Co-op", "lena", w.now),
	}
	seen := map[string]bool{}
	for _, a := range acts {
		seen[ledger.KindOf(a)] = true
	}
	fields := (&recordv1.Record{}).ProtoReflect().Descriptor().Oneofs().ByName("act").Fields()
	for i := range fields.Len() {
		if k := string(fields.Get(i).Name()); !seen[k] {
			w.t.Fatalf("everyAct has no %s: add it", k)
		}
	}
	return acts
}

// TestMayTable checks the table of who may do what, cell by cell, against what
// Apply does: for every kind and role, refused or flagged exactly where the table
// says that the role may not.
func TestMayTable(t *testing.T) {
	if n := (&recordv1.Record{}).ProtoReflect().Descriptor().Oneofs().ByName("act").Fields().Len(); n != len(ledger.Kinds()) {
		t.Fatalf("the contract has %d kinds, the table %d rows", n, len(ledger.Kinds()))
	}
	for _, role := range []recordv1.Role{authorised, affected, supervisor, manager, contractor} {
		for _, qualified := range []bool{false, true} {
			w, holds := ready(t)
			w.joinPerson(person("probe", qualified, role))
			before := w.s.Clone()
			for _, act := range everyAct(w, holds["lena "+feeder], holds["lena "+feeder]) {
				if kind := ledger.KindOf(act); kind == "join" || kind == "expire" {
					continue // by invitation, and by a replica
				}
				w.backTo(before)
				w.asTheTableSays(act, role, qualified)
			}
		}
	}
}

// asTheTableSays has the person "probe" do an act: it is refused or flagged where the
// table says that the role may not, and what protects is taken of everybody.
func (w *world) asTheTableSays(act *recordv1.Record, role recordv1.Role, qualified bool) {
	w.t.Helper()
	row := ledger.KindNamed(ledger.KindOf(act))
	may := inTable(row, act, role, qualified)
	var o *recordv1.Outcome
	if row.Way == ledger.ThroughJournal {
		o = w.journal("stonebend", "probe", act)
	} else {
		o = w.together("probe", act)
	}
	if denied := has(o.GetConditions(), ledger.NotPermitted, "probe") || flagged(o, ledger.NotPermitted); denied == may {
		w.t.Errorf("%s by a %s (qualified %v): table says may=%v; outcome accepted=%v %v, flags %v",
			row.Name, ledger.RoleName(role), qualified, may, o.GetAccepted(), codes(o), o.GetFlags())
	}
	if row.Class == ledger.Protects && !o.GetAccepted() {
		w.t.Errorf("%s by a %s is refused, but what protects is never refused: %v", row.Name, ledger.RoleName(role), codes(o))
	}
}

// inTable reports whether the table lets somebody of a role do an act.
func inTable(row *ledger.Kind, act *recordv1.Record, role recordv1.Role, qualified bool) bool {
	if act.GetLock().GetEquipment() && (role == supervisor || role == manager) {
		return true // (c)(8) is about personal locks
	}
	if row.May.Qualified() && !qualified {
		return false
	}
	return len(row.May.Roles()) == 0 || slices.Contains(row.May.Roles(), role)
}

// backTo sets the world back to an earlier state, and the yards' journals with it.
func (w *world) backTo(s *ledger.State) {
	w.t.Helper()
	w.s, w.last = s.Clone(), map[string][]byte{}
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		if hs := s.Yards[y].Hashes; len(hs) > 0 {
			w.last[y] = unhex(w.t, hs[len(hs)-1])
		}
	}
}

// TestRevokedKey: what protects still counts under a revoked key, flagged; what
// lifts is refused (decisions.md 2).
func TestRevokedKey(t *testing.T) {
	w, holds := ready(t)
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "lena", Key: pub(w.keys["lena"]), Why: "lost"}}}))
	o := w.must(w.journal("stonebend", "lena", actLock(feeder, "lena-1", "boot-1")))
	if !flagged(o, ledger.SignedWithRevokedKey) || !w.s.Holds[o.GetRef()].Active() {
		t.Error("a lock signed with a revoked key must count, and be flagged")
	}
	w.refusedWith(w.journal("stonebend", "lena", actRelease(holds["lena "+feeder])), ledger.KeyRevoked)
}

// TestBadEntries: a replica that reads junk never panics, and every junk entry is
// a refused leaf.
func TestBadEntries(t *testing.T) {
	w, holds := ready(t)
	good := ledger.DirectEntry(w.sign("nia", actPoint("stonebend/a/b")))
	cases := map[string]struct {
		raw  []byte
		code code.Code
	}{
		"empty":            {nil, ledger.Empty},
		"noise":            {bytes.Repeat([]byte{0xff}, 40), ledger.Malformed},
		"cut off":          {good[:len(good)-3], ledger.Malformed},
		"unsigned":         {ledger.DirectEntry(signed(t, seal.RecordDomain, marshal(t, w.record("nia", actPoint("stonebend/a/c"))))), ledger.Unsigned},
		"wrong domain":     {ledger.DirectEntry(signed(t, seal.EnvelopeDomain, marshal(t, w.record("nia", actPoint("stonebend/a/c"))), w.keys["nia"])), ledger.BadSignature},
		"another's key":    {ledger.DirectEntry(signed(t, seal.RecordDomain, marshal(t, w.record("nia", actPoint("stonebend/a/c"))), w.keys["ravi"])), ledger.NotTheSigner},
		"no act":           {ledger.DirectEntry(signed(t, seal.RecordDomain, marshal(t, w.record("nia", &recordv1.Record{})), w.keys["nia"])), ledger.Empty},
		"second founding":  {w.entries[0], ledger.Founded},
		"unknown point":    {ledger.DirectEntry(w.sign("mara", actRequest("r", "boot-1", w.now+1e9, "stonebend/no/such"))), ledger.UnknownPoint},
		"bad name":         {ledger.DirectEntry(w.sign("nia", actPoint("Stonebend/a/c"))), ledger.BadField},
		"lock sent direct": {ledger.DirectEntry(w.sign("ravi", actLock(feeder, "ravi-1", "boot-1"))), ledger.WrongWay},
	}

	for name, c := range cases {
		size := w.s.Size()
		e, err := ledger.Decode(c.raw)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		o := w.s.Apply(e)
		if o.GetAccepted() || !has(o.GetConditions(), c.code, "") {
			t.Errorf("%s: accepted=%v %v; want %s", name, o.GetAccepted(), codes(o), c.code)
		}
		if w.s.Size() != size+1 {
			t.Errorf("%s: not a leaf", name)
		}
	}
	w.must(w.journal("stonebend", "ravi", actRelease(holds["ravi "+feeder])))
	w.refusedWith(w.journal("stonebend", "ravi", actRelease(holds["ravi "+feeder])), ledger.HoldEnded)
	w.refusedWith(w.journal("stonebend", "ravi", actRelease("stonebend/1/9999")), ledger.UnknownHold)
	other := found(t)
	o := w.put(ledger.DirectEntry(signed(t, seal.RecordDomain, func() []byte {
		r := w.record("nia", actPoint("stonebend/a/d"))
		r.Ledger = bytes.Repeat([]byte{7}, 32)
		return marshal(t, r)
	}(), other.keys["nia"])))
	w.refusedWith(o, ledger.OtherLedger)
	replay := ledger.DirectEntry(w.sign("nia", actPoint("stonebend/a/e")))
	w.must(w.put(replay))
	w.refusedWith(w.put(replay), ledger.TicketRepeated)
}

// TestNewer: an entry from a newer release stops the replica, never is skipped.
func TestNewer(t *testing.T) {
	w := found(t)
	good := ledger.DirectEntry(w.sign("nia", actPoint("stonebend/a/b")))
	var m recordv1.Entry
	if err := proto.Unmarshal(good, &m); err != nil {
		t.Fatal(err)
	}
	m.Format = ledger.EntryFormat + 1
	if _, err := ledger.Decode(marshal(t, &m)); err != ledger.ErrNewer {
		t.Errorf("newer format: %v", err)
	}
	// A record with a field of a later release: number 999, varint 1.
	r := marshal(t, w.record("nia", actPoint("stonebend/a/c")))
	r = append(r, 0xb8, 0x3e, 0x01)
	if _, err := ledger.Decode(ledger.DirectEntry(signed(t, seal.RecordDomain, r, w.keys["nia"]))); err != ledger.ErrNewer {
		t.Errorf("unknown field: %v", err)
	}
	// The same, deep inside.
	act := &recordv1.Record{}
	if err := proto.Unmarshal(marshal(t, w.record("nia", actPoint("stonebend/a/c"))), act); err != nil {
		t.Fatal(err)
	}
	act.GetRegisterPoint().ProtoReflect().SetUnknown([]byte{0xb8, 0x3e, 0x01})
	if _, err := ledger.Decode(ledger.DirectEntry(signed(t, seal.RecordDomain, marshal(t, act), w.keys["nia"]))); err != ledger.ErrNewer {
		t.Errorf("unknown field inside an act: %v", err)
	}
}
