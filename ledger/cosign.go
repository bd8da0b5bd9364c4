package ledger

import (
	"bytes"
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Cosigners says who signs a record beside its signer: the people that the signed
// bytes name, in the order of their signatures, and the new key that the record
// brings in, which signs last; nil where there is none (decisions.md 21).
func Cosigners(r *recordv1.Record) (people []string, newKey []byte) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Removal:
		return []string{a.Removal.GetSecond()}, nil
	case *recordv1.Record_HandOver:
		return a.HandOver.GetOthers(), nil
	case *recordv1.Record_TakeOver:
		return []string{a.TakeOver.GetFrom()}, nil
	case *recordv1.Record_ClaimLock:
		return []string{a.ClaimLock.GetWitness()}, nil
	case *recordv1.Record_ExchangeProcedures:
		return []string{a.ExchangeProcedures.GetContractor()}, nil
	case *recordv1.Record_ReplaceKey:
		return nil, a.ReplaceKey.GetKey()
	case *recordv1.Record_ReissueKey:
		return nil, a.ReissueKey.GetKey()
	case *recordv1.Record_RecoverYard:
		return []string{a.RecoverYard.GetSecond()}, a.RecoverYard.GetKey()
	}
	return nil, nil
}

// badSigners says what is wrong with the number and order of a record's
// signatures, "" when nothing: its signer's, then one of each person it names,
// then its new key's, and no other. With a stranger's signature beside it, an old
// record could be sent again under the stranger's ticket.
func badSigners(r *recordv1.Record, keys [][]byte) string {
	if r.GetJoin() != nil {
		return "" // its own rule says which keys sign it
	}
	people, newKey := Cosigners(r)
	want := 1 + len(people)
	if newKey != nil {
		want++
	}
	switch {
	case want == 1 && len(keys) != 1:
		return "a record of this kind is signed once, with its signer's own key"
	case len(keys) != want:
		return fmt.Sprintf("the record has %d signatures; it takes %d: its signer's, then those of the people and the key it names, in their order", len(keys), want)
	case newKey != nil && !bytes.Equal(keys[want-1], newKey):
		return "the last signature is not that of the new key"
	}
	for i := range keys {
		if slices.ContainsFunc(keys[:i], func(k []byte) bool { return bytes.Equal(k, keys[i]) }) {
			return "one key signed twice: each person signs once"
		}
	}
	return ""
}

// cosign finds who signed beside the signer: each named person, in their place,
// with a key that is live now. What several people sign always lifts protection or
// gives a key, so a revoked key counts for nothing (decisions.md 2).
func (x *step) cosign() {
	people, _ := Cosigners(x.rec)
	for i, id := range people {
		k := x.s.KeyOf(x.e.keys[i+1])
		switch {
		case x.s.People[id] == nil:
			x.refuse("UNKNOWN_PERSON", id, "nobody of this name is enrolled", "name who signs by their id", "", "")
		case k == nil || k.Person != id:
			x.refuse("NOT_THE_SIGNER", id, fmt.Sprintf("the record names %s, and no key of theirs signed in that place", id), "have "+id+" sign it with their own key", id, "")
		case k.Revoked > 0:
			x.refuse("KEY_REVOKED", id, "the key that signed this for "+id+" was revoked", "sign with their present key", id, "")
		}
	}
}

// signingKey is the registered key with which a person signed the record, nil
// when they did not.
func (x *step) signingKey(person string) *Key {
	for _, k := range x.e.keys {
		if c := x.s.KeyOf(k); c != nil && c.Person == person && person != "" {
			return c
		}
	}
	return nil
}
