package ledger_test

import (
	"crypto/ed25519"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestCountersignedByTheWrongPeople signs every act of several people in every way but
// the right one: each must change nothing. The rule is decisions.md 21: one byte
// string, one signature of each person it names, distinct, in their order.
func TestCountersignedByTheWrongPeople(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	lost := w.must(w.journal("stonebend", "ravi", actFoundLock(feeder))).GetRef()
	k := func(names ...string) []ed25519.PrivateKey {
		var out []ed25519.PrivateKey
		for _, n := range names {
			out = append(out, key(n))
		}
		return out
	}
	lena, ravi := holds["lena "+feeder], holds["ravi "+feeder]
	for _, c := range []struct {
		how    string
		signer string
		act    *recordv1.Record
		keys   []ed25519.PrivateKey
		code   code.Code
	}{
		{"removal by one manager alone", "nia", actRemoval(lena, "oskar"), k("nia"), ledger.WrongSignatures},
		{"removal signed twice by one manager", "nia", actRemoval(lena, "oskar"), k("nia", "nia"), ledger.SignedTwice},
		{"removal naming oneself as second", "nia", actRemoval(lena, "nia"), k("nia", "oskar"), "BAD_FIELD"},
		{"removal signed by another than the second", "nia", actRemoval(lena, "oskar"), k("nia", "petra"), ledger.NotCountersigned},
		{"removal in the wrong order", "nia", actRemoval(lena, "oskar"), k("oskar", "nia"), ledger.SignaturesOutOfOrder},
		{"removal with a third signature", "nia", actRemoval(lena, "oskar"), k("nia", "oskar", "petra"), ledger.WrongSignatures},
		{"removal with a stranger's key", "nia", actRemoval(lena, "oskar"), k("nia", "mallory"), ledger.NotCountersigned},
		{"removal with a stranger in front", "nia", actRemoval(lena, "oskar"), k("mallory", "oskar"), ledger.NotTheSigner},
		{"removal with a yard's key as second", "nia", actRemoval(lena, "oskar"), k("nia", "stonebend"), ledger.NotCountersigned},
		{"removal with a supervisor as second", "nia", actRemoval(lena, "mara"), k("nia", "mara"), ledger.SecondNotManager},
		{"removal with a worker as first", "ravi", actRemoval(lena, "nia"), k("ravi", "nia"), ledger.NotPermitted},
		{"removal with nobody enrolled as second", "nia", actRemoval(lena, "nobody"), k("nia", "mallory"), ledger.UnknownPerson},
		{"removal of a lock that is not there", "nia", actRemoval("stonebend/1/9999", "oskar"), k("nia", "oskar"), "UNKNOWN_HOLD"},
		{"removal without the first duty", "nia", &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: ref(lena), Second: "oskar", TriedToReach: "called"}}}, k("nia", "oskar"), "BAD_FIELD"},
		{"removal without the second duty", "nia", &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: ref(lena), Second: "oskar", NotHere: "walked", TriedToReach: "  "}}}, k("nia", "oskar"), "BAD_FIELD"},
		{"hand-over that only the one coming on signs", "ravi", actHandOver([]string{"petra"}, lena, ravi), k("ravi", "petra"), ledger.HolderNotNamed},
		{"hand-over that only the one going off signs", "lena", actHandOver([]string{"petra"}, lena, ravi), k("lena", "petra"), ledger.HolderNotNamed},
		{"hand-over with somebody else's key for lena", "ravi", actHandOver([]string{"lena"}, lena, ravi), k("ravi", "nia"), ledger.NotCountersigned},
		{"hand-over with a bystander", "ravi", actHandOver([]string{"lena", "dov"}, lena, ravi), k("ravi", "lena", "dov"), ledger.SignsWithoutLock},
		{"hand-over naming lena twice", "ravi", actHandOver([]string{"lena", "lena"}, lena, ravi), k("ravi", "lena", "lena"), ledger.SignedTwice},
		{"hand-over by one alone", "lena", actHandOver(nil, lena, ravi), k("lena"), "BAD_FIELD"},
		{"hand-over of two locks on two points", "ravi", actHandOver([]string{"lena"}, lena, holds["ravi "+control]), k("ravi", "lena"), ledger.OtherTarget},
		{"hand-over to oneself", "lena", actHandOver([]string{"ravi"}, lena, holds["lena "+control]), k("lena", "ravi"), ledger.SameHolder},
		{"hand-over of a lock to itself", "lena", actHandOver([]string{"ravi"}, lena, lena), k("lena", "ravi"), "BAD_FIELD"},
		{"hand-over round in a ring", "lena", actHandOver([]string{"ravi"}, lena, ravi, ravi, lena), k("lena", "ravi"), "BAD_FIELD"},
		{"hand-over of one lock twice", "lena", actHandOver([]string{"ravi"}, lena, ravi, lena, ravi), k("lena", "ravi"), "BAD_FIELD"},
		{"hand-over to a found lock", "lena", actHandOver([]string{"ravi"}, lena, lost), k("lena", "ravi"), ledger.NotClaimed},
		{"claim without a witness", "tomas", actClaim(lost, "mara"), k("tomas"), ledger.WrongSignatures},
		{"claim witnessed by oneself", "mara", actClaim(lost, "mara"), k("mara", "nia"), "BAD_FIELD"},
		{"claim witnessed by a worker", "tomas", actClaim(lost, "ravi"), k("tomas", "ravi"), ledger.WitnessMayNot},
		{"claim with another's key for the witness", "tomas", actClaim(lost, "mara"), k("tomas", "ravi"), ledger.NotCountersigned},
		{"claim of lena's lock", "tomas", actClaim(lena, "mara"), k("tomas", "mara"), ledger.LockHasOwner},
		{"replacement that the new key did not sign", "lena", actReplaceKey("mallory"), k("lena"), ledger.WrongSignatures},
		{"replacement that another new key signed", "lena", actReplaceKey("mallory"), k("lena", "mallory's other"), ledger.NewKeySignsLast},
		{"replacement that only the new key signed", "lena", actReplaceKey("mallory"), k("mallory"), ledger.WrongSignatures},
		{"replacement in lena's name by a manager", "lena", actReplaceKey("mallory"), k("nia", "mallory"), ledger.NotTheSigner},
		{"replacement by a key that is another's", "lena", actReplaceKey("nia"), k("lena", "nia"), ledger.KeyInUse},
		{"replacement by a yard's key", "lena", actReplaceKey("stonebend"), k("lena", "stonebend"), ledger.KeyInUse},
		{"replacement by the same key", "lena", actReplaceKey("lena"), k("lena", "lena"), ledger.SignedTwice},
		{"reissue by a supervisor", "mara", actReissueKey("lena", "mallory"), k("mara", "mallory"), ledger.NotPermitted},
		{"reissue of one's own key", "nia", actReissueKey("nia", "mallory"), k("nia", "mallory"), ledger.OwnKey},
		{"reissue that the new key did not sign", "nia", actReissueKey("lena", "mallory"), k("nia"), ledger.WrongSignatures},
		{"reissue of a key that is another's", "nia", actReissueKey("lena", "oskar"), k("nia", "oskar"), ledger.KeyInUse},
		{"reissue for nobody enrolled", "nia", actReissueKey("nobody", "mallory"), k("nia", "mallory"), ledger.UnknownPerson},
		{"acknowledgement of a removal that was none", "lena", actAcknowledge(lena), k("lena"), ledger.UnknownRemoval},
		{"a lone act with a second signature", "nia", actPoint("stonebend/mcc-1/new"), k("nia", "oskar"), ledger.WrongSignatures},
	} {
		before := w.s.Clone()
		w.refusedWith(w.signedBy(w.record(c.signer, c.act), c.keys...), c.code)
		for _, h := range []string{lena, ravi, lost} {
			if w.s.Holds[h] == nil || !w.s.Holds[h].Active() || w.s.Holds[h].Holder != before.Holds[h].Holder {
				t.Errorf("%s: the lock %s changed", c.how, h)
			}
		}
		if w.s.KeyOf(pub(key("mallory"))) != nil || w.s.LiveKey("lena").Revoked != 0 || len(w.s.Keys) != len(before.Keys) {
			t.Errorf("%s: a key changed", c.how)
		}
		if len(w.s.UnacknowledgedRemovals) != 0 {
			t.Errorf("%s: left a removal to acknowledge", c.how)
		}
	}
}

// TestCountersignedWithARevokedKey: what several sign lifts protection, so each of the
// keys must be good when it is taken (decisions.md 2).
func TestCountersignedWithARevokedKey(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	r := w.record("nia", actRemoval(holds["lena "+feeder], "oskar"))
	w.must(w.direct("nia", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "oskar", Key: pub(w.keys["oskar"]), Why: "stolen"}}}))
	w.refusedWith(w.signedBy(r, w.keys["nia"], w.keys["oskar"]), ledger.KeyRevoked)
	if !w.s.Holds[holds["lena "+feeder]].Active() {
		t.Error("a revoked key removed a lock")
	}
}

// TestCountersignedSentAgain: the same bytes are one act, whoever sends them.
func TestCountersignedSentAgain(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	r := w.record("nia", actRemoval(holds["lena "+feeder], "oskar"))
	w.must(w.signedBy(r, w.keys["nia"], w.keys["oskar"]))
	w.refusedWith(w.signedBy(r, w.keys["nia"], w.keys["oskar"]), ledger.TicketRepeated)
}

// TestCountersignersOfEveryAct: no act outside those of decisions.md 21 and of the keys
// takes a second signature.
func TestCountersignersOfEveryAct(t *testing.T) {
	w, holds := ready(t)
	several := map[string]int{"removal": 1, "hand_over": 1, "claim_lock": 1, "replace_key": 1, "reissue_key": 1, "recover_yard": 2, "take_over": 1, "exchange_procedures": 1}
	for _, act := range everyAct(w, holds["lena "+feeder], holds["lena "+feeder]) {
		people, newKey := ledger.CountersignersOf(act)
		n := len(people)
		if newKey != nil {
			n++
		}
		if kind := ledger.KindOf(act); n != several[kind] {
			t.Errorf("%s takes %d signatures beside its signer's, want %d", kind, n, several[kind])
		}
	}
}
