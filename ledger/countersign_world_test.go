package ledger_test

import (
	"crypto/ed25519"
	"fmt"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// together sends an act straight to the quorum, signed by its signer and by all
// whom it names, in their order.
func (w *world) together(signer string, act *recordv1.Record) *recordv1.Outcome {
	w.t.Helper()
	r := w.record(signer, act)
	keys := []ed25519.PrivateKey{w.keys[signer]}
	people, newKey := ledger.CountersignersOf(r)
	for _, p := range people {
		keys = append(keys, w.keys[p])
	}
	if newKey != nil {
		keys = append(keys, key("mallory"))
	}
	return w.signedBy(r, keys...)
}

// signedBy sends a record straight to the quorum with the signatures of any keys.
func (w *world) signedBy(r *recordv1.Record, keys ...ed25519.PrivateKey) *recordv1.Outcome {
	w.t.Helper()
	return w.put(ledger.DirectEntry(signed(w.t, seal.RecordDomain, marshal(w.t, r), keys...)))
}

func actRemoval(hold, second string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: ref(hold), Second: second,
		NotHere: "gate log, both yards walked", TriedToReach: "called twice, asked at home"}}}
}

func actAcknowledge(hold string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_AcknowledgeRemoval{AcknowledgeRemoval: &recordv1.AcknowledgeRemoval{Hold: ref(hold)}}}
}

// actHandOver passes locks: pairs are off, on, off, on.
func actHandOver(others []string, pairs ...string) *recordv1.Record {
	o := &recordv1.HandOver{Others: others}
	for i := 0; i+1 < len(pairs); i += 2 {
		o.Pairs = append(o.Pairs, &recordv1.HandOver_Pair{Off: ref(pairs[i]), On: ref(pairs[i+1])})
	}
	return &recordv1.Record{Act: &recordv1.Record_HandOver{HandOver: o}}
}

func actClaim(hold, witness string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ClaimLock{ClaimLock: &recordv1.ClaimLock{Hold: ref(hold), Witness: witness}}}
}

func actReplaceKey(name string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ReplaceKey{ReplaceKey: &recordv1.ReplaceKey{Key: pub(key(name))}}}
}

func actReissueKey(person, name string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_ReissueKey{ReissueKey: &recordv1.ReissueKey{Person: person, Key: pub(key(name))}}}
}

func actFoundStarted(what string, points ...string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FoundStarted{FoundStarted: &recordv1.FoundStarted{What: what, Points: points}}}
}

func actFoundLock(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Seen: "a red padlock, no tag"}}}
}

// crew is ready with a second manager, oskar, and a third, petra.
func (w *world) crew() {
	w.t.Helper()
	w.joinPerson(person("oskar", false, manager))
	w.joinPerson(person("petra", false, manager, authorised))
}

// reissue has one manager give somebody a new key: whoever made the key has it.
func (w *world) reissue(by, person string) {
	w.t.Helper()
	name := fmt.Sprintf("new key of %s by %s", person, by)
	w.must(w.signedBy(w.record(by, actReissueKey(person, name)), w.keys[by], key(name)))
	w.keys[person] = key(name)
}
