package ledger_test

import (
	"crypto/ed25519"
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// wronglySigned is an act of several people that some of the wrong ones sign.
type wronglySigned struct {
	how    string
	signer string
	act    *recordv1.Record
	keys   []ed25519.PrivateKey
	code   code.Code
}

// standing are the locks of lena and ravi on the feeder and on the control panel, and a
// lock that was found.
type standing struct{ lena, ravi, lenaControl, raviControl, lost string }

// keysOf are the first keys of these people, in their order.
func keysOf(names ...string) (out []ed25519.PrivateKey) {
	for _, n := range names {
		out = append(out, key(n))
	}
	return out
}

func wrongRemovals(l standing) []wronglySigned {
	return []wronglySigned{
		{"removal by one manager alone", "nia", actRemoval(l.lena, "oskar"), keysOf("nia"), ledger.WrongSignatures},
		{"removal signed twice by one manager", "nia", actRemoval(l.lena, "oskar"), keysOf("nia", "nia"), ledger.SignedTwice},
		{"removal naming oneself as second", "nia", actRemoval(l.lena, "nia"), keysOf("nia", "oskar"), ledger.BadField},
		{"removal signed by a third manager in the place of the second", "nia", actRemoval(l.lena, "oskar"), keysOf("nia", "petra"), ledger.NotCountersigned},
		{"removal in the wrong order", "nia", actRemoval(l.lena, "oskar"), keysOf("oskar", "nia"), ledger.SignaturesOutOfOrder},
		{"removal with a third signature", "nia", actRemoval(l.lena, "oskar"), keysOf("nia", "oskar", "petra"), ledger.WrongSignatures},
		{"removal with a stranger's key", "nia", actRemoval(l.lena, "oskar"), keysOf("nia", "mallory"), ledger.NotCountersigned},
		{"removal with a stranger in front", "nia", actRemoval(l.lena, "oskar"), keysOf("mallory", "oskar"), ledger.NotTheSigner},
		{"removal with a yard's key as second", "nia", actRemoval(l.lena, "oskar"), keysOf("nia", "stonebend"), ledger.NotCountersigned},
		{"removal with a supervisor as second", "nia", actRemoval(l.lena, "mara"), keysOf("nia", "mara"), ledger.SecondNotManager},
		{"removal with a worker as first", "ravi", actRemoval(l.lena, "nia"), keysOf("ravi", "nia"), ledger.NotPermitted},
		{"removal with nobody enrolled as second", "nia", actRemoval(l.lena, "nobody"), keysOf("nia", "mallory"), ledger.UnknownPerson},
		{"removal of a lock that is not there", "nia", actRemoval("stonebend/1/9999", "oskar"), keysOf("nia", "oskar"), ledger.UnknownHold},
		{"removal without the first duty", "nia", &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: ref(l.lena), Second: "oskar", TriedToReach: "called"}}}, keysOf("nia", "oskar"), ledger.BadField},
		{"removal without the second duty", "nia", &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: ref(l.lena), Second: "oskar", NotHere: "walked", TriedToReach: "  "}}}, keysOf("nia", "oskar"), ledger.BadField},
		{"acknowledgement of a removal that was none", "lena", actAcknowledge(l.lena), keysOf("lena"), ledger.UnknownRemoval},
	}
}

func wrongHandOvers(l standing) []wronglySigned {
	return []wronglySigned{
		{"hand-over that only the one coming on signs", "ravi", actHandOver([]string{"petra"}, l.lena, l.ravi), keysOf("ravi", "petra"), ledger.HolderNotNamed},
		{"hand-over that only the one going off signs", "lena", actHandOver([]string{"petra"}, l.lena, l.ravi), keysOf("lena", "petra"), ledger.HolderNotNamed},
		{"hand-over with somebody else's key for lena", "ravi", actHandOver([]string{"lena"}, l.lena, l.ravi), keysOf("ravi", "nia"), ledger.NotCountersigned},
		{"hand-over with a bystander", "ravi", actHandOver([]string{"lena", "dov"}, l.lena, l.ravi), keysOf("ravi", "lena", "dov"), ledger.SignsWithoutLock},
		{"hand-over naming lena twice", "ravi", actHandOver([]string{"lena", "lena"}, l.lena, l.ravi), keysOf("ravi", "lena", "lena"), ledger.SignedTwice},
		{"hand-over by one alone", "lena", actHandOver(nil, l.lena, l.ravi), keysOf("lena"), ledger.BadField},
		{"hand-over of two locks on two points", "ravi", actHandOver([]string{"lena"}, l.lena, l.raviControl), keysOf("ravi", "lena"), ledger.OtherTarget},
		{"hand-over to oneself", "lena", actHandOver([]string{"ravi"}, l.lena, l.lenaControl), keysOf("lena", "ravi"), ledger.SameHolder},
		{"hand-over of a lock to itself", "lena", actHandOver([]string{"ravi"}, l.lena, l.lena), keysOf("lena", "ravi"), ledger.BadField},
		{"hand-over round in a ring", "lena", actHandOver([]string{"ravi"}, l.lena, l.ravi, l.ravi, l.lena), keysOf("lena", "ravi"), ledger.BadField},
		{"hand-over of one lock twice", "lena", actHandOver([]string{"ravi"}, l.lena, l.ravi, l.lena, l.ravi), keysOf("lena", "ravi"), ledger.BadField},
		{"hand-over to a found lock", "lena", actHandOver([]string{"ravi"}, l.lena, l.lost), keysOf("lena", "ravi"), ledger.NotClaimed},
	}
}

func wrongClaims(l standing) []wronglySigned {
	return []wronglySigned{
		{"claim without a witness", "tomas", actClaim(l.lost, "mara"), keysOf("tomas"), ledger.WrongSignatures},
		{"claim witnessed by oneself", "mara", actClaim(l.lost, "mara"), keysOf("mara", "nia"), ledger.BadField},
		{"claim witnessed by a worker", "tomas", actClaim(l.lost, "ravi"), keysOf("tomas", "ravi"), ledger.WitnessMayNot},
		{"claim with another's key for the witness", "tomas", actClaim(l.lost, "mara"), keysOf("tomas", "ravi"), ledger.NotCountersigned},
		{"claim of lena's lock", "tomas", actClaim(l.lena, "mara"), keysOf("tomas", "mara"), ledger.LockHasOwner},
	}
}

// wrongKeys are acts about keys, and one act that takes a single signature.
func wrongKeys() []wronglySigned {
	return []wronglySigned{
		{"replacement that the new key did not sign", "lena", actReplaceKey("mallory"), keysOf("lena"), ledger.WrongSignatures},
		{"replacement that another new key signed", "lena", actReplaceKey("mallory"), keysOf("lena", "mallory's other"), ledger.NewKeySignsLast},
		{"replacement that only the new key signed", "lena", actReplaceKey("mallory"), keysOf("mallory"), ledger.WrongSignatures},
		{"replacement in lena's name by a manager", "lena", actReplaceKey("mallory"), keysOf("nia", "mallory"), ledger.NotTheSigner},
		{"replacement by a key that is another's", "lena", actReplaceKey("nia"), keysOf("lena", "nia"), ledger.KeyInUse},
		{"replacement by a yard's key", "lena", actReplaceKey("stonebend"), keysOf("lena", "stonebend"), ledger.KeyInUse},
		{"replacement by the same key", "lena", actReplaceKey("lena"), keysOf("lena", "lena"), ledger.SignedTwice},
		{"reissue by a supervisor", "mara", actReissueKey("lena", "mallory"), keysOf("mara", "mallory"), ledger.NotPermitted},
		{"reissue of one's own key", "nia", actReissueKey("nia", "mallory"), keysOf("nia", "mallory"), ledger.OwnKey},
		{"reissue that the new key did not sign", "nia", actReissueKey("lena", "mallory"), keysOf("nia"), ledger.WrongSignatures},
		{"reissue of a key that is another's", "nia", actReissueKey("lena", "oskar"), keysOf("nia", "oskar"), ledger.KeyInUse},
		{"reissue for nobody enrolled", "nia", actReissueKey("nobody", "mallory"), keysOf("nia", "mallory"), ledger.UnknownPerson},
		{"a lone act with a second signature", "nia", actPoint("stonebend/mcc-1/new"), keysOf("nia", "oskar"), ledger.WrongSignatures},
	}
}

// TestCountersignedByTheWrongPeople signs every act of several people in every way but
// the right one: each must change nothing. The rule is decisions.md 21: one byte
// string, one signature of each person it names, distinct, in their order.
func TestCountersignedByTheWrongPeople(t *testing.T) {
	w, holds := ready(t)
	w.crew()
	l := standing{holds["lena "+feeder], holds["ravi "+feeder], holds["lena "+control], holds["ravi "+control], ""}
	l.lost = w.must(w.journal("stonebend", "ravi", actFoundLock(feeder))).GetRef()
	for _, c := range slices.Concat(wrongRemovals(l), wrongHandOvers(l), wrongClaims(l), wrongKeys()) {
		before := w.s.Clone()
		w.refusedWith(w.signedBy(w.record(c.signer, c.act), c.keys...), c.code)
		for _, h := range []string{l.lena, l.ravi, l.lost} {
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
