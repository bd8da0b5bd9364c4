package ledger

import (
	"bytes"
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// WrongSignatures: the record has too few or too many signatures. The argument
	// people is those whom the record names beside its signer.
	WrongSignatures = code.New("WRONG_SIGNATURES", code.Row{Args: "given:number wanted:number people", Who: "the-signer", Answer: code.NotSigned})
	// NewKeySignsLast: the last signature is not by the new key that the record brings
	// in.
	NewKeySignsLast = code.New("NEW_KEY_SIGNS_LAST", code.Row{Who: "the-signer", Answer: code.NotSigned})
	// SignedTwice: one key signed in two positions.
	SignedTwice   = code.New("SIGNED_TWICE", code.Row{Who: "the-signer", Answer: code.NotSigned})
	UnknownPerson = code.New("UNKNOWN_PERSON", code.Row{Args: "person", Who: "a-manager", Answer: code.Unknown})
	// NotCountersigned: the record names a person, and no key of theirs signed in their
	// position.
	NotCountersigned = code.New("NOT_COUNTERSIGNED", code.Row{Args: "person", Who: "{person}", Answer: code.NotSigned})
)

// CountersignersOf says who signs a record beside its signer (decisions.md 21). people
// are those whom the signed bytes name, in the order of their signatures. newKey is the
// key that the record brings in, which signs last. newKey is nil where there is none.
func CountersignersOf(r *recordv1.Record) (people []string, newKey []byte) {
	if k := KindFor(r); k != nil {
		return k.With(r)
	}
	return nil, nil
}

// countersigned adds a rule to the shape of a kind. The field names the people who sign
// beside the signer. Each is named once, and none is the signer.
func countersigned(field string, k Kind) Kind {
	shape := k.Shape
	k.Shape = func(f *fields, r *recordv1.Record) {
		people, _ := k.With(r)
		f.others(field, r.GetSigner(), people...)
		shape(f, r)
	}
	return k
}

// wrongSigners says what is wrong with the number and order of a record's signatures. It
// is nil when nothing is. The order is: the signer, each person named, the new key, and
// no other. If a stranger's signature could be added, an old record could be sent again
// under the stranger's ticket.
func wrongSigners(r *recordv1.Record, keys [][]byte) *recordv1.Finding {
	if r.GetJoin() != nil {
		return nil // the rule of this kind says which keys must sign
	}
	people, newKey := CountersignersOf(r)
	want := 1 + len(people)
	if newKey != nil {
		want++
	}
	switch {
	case len(keys) != want:
		return WrongSignatures.About(r.GetSigner(), len(keys), want, people)
	case newKey != nil && !bytes.Equal(keys[want-1], newKey):
		return NewKeySignsLast.About(r.GetSigner())
	}
	for i := range keys {
		if slices.ContainsFunc(keys[:i], func(k []byte) bool { return bytes.Equal(k, keys[i]) }) {
			return SignedTwice.About(r.GetSigner())
		}
	}
	return nil
}

// countersigned checks who signed beside the signer. Each named person must sign in
// their position, with a key that is live now. A record that several people sign always
// lifts protection or gives a key, so a revoked key counts for nothing (decisions.md 2).
func (x *step) countersigned(k *Kind) {
	people, _ := k.With(x.rec)
	for i, id := range people {
		key := x.s.KeyOf(x.e.keys[i+1])
		switch {
		case x.s.People[id] == nil:
			x.deny(UnknownPerson, id, id)
		case key == nil || key.Person != id:
			x.deny(NotCountersigned, id, id)
		case key.Revoked > 0:
			x.deny(KeyRevoked, id, id)
		}
	}
}

// signingKey is the registered key with which a person signed the record, or nil if they
// did not sign.
func (x *step) signingKey(person string) *Key {
	for _, k := range x.e.keys {
		if c := x.s.KeyOf(k); c != nil && c.Person == person && person != "" {
			return c
		}
	}
	return nil
}
