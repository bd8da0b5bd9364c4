package ledger

import (
	"bytes"
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// WrongSignatures: a signature too few or too many; people are those whom the
	// record names beside its signer.
	WrongSignatures = code.New("WRONG_SIGNATURES", code.Row{Args: "given:number wanted:number people", Who: "the-signer", Answer: code.NotSigned})
	// NewKeySignsLast: the last signature is not that of the key that the record
	// brings in.
	NewKeySignsLast = code.New("NEW_KEY_SIGNS_LAST", code.Row{Who: "the-signer", Answer: code.NotSigned})
	// SignedTwice: one key signed in two places.
	SignedTwice   = code.New("SIGNED_TWICE", code.Row{Who: "the-signer", Answer: code.NotSigned})
	UnknownPerson = code.New("UNKNOWN_PERSON", code.Row{Args: "person", Who: "a-manager", Answer: code.Unknown})
	// NotCountersigned: the record names somebody, and no key of theirs signed in
	// their place.
	NotCountersigned = code.New("NOT_COUNTERSIGNED", code.Row{Args: "person", Who: "{person}", Answer: code.NotSigned})
)

// CountersignersOf says who signs a record beside its signer: the people that the
// signed bytes name, in the order of their signatures, and the new key that the
// record brings in, which signs last; nil where there is none (decisions.md 21).
func CountersignersOf(r *recordv1.Record) (people []string, newKey []byte) {
	if k := KindFor(r); k != nil {
		return k.With(r)
	}
	return nil, nil
}

// countersigned adds to the shape of a kind that the people who sign it beside its
// signer are named in a field, each once, and are others than the signer.
func countersigned(field string, k Kind) Kind {
	shape := k.Shape
	k.Shape = func(f *fields, r *recordv1.Record) {
		people, _ := k.With(r)
		f.others(field, r.GetSigner(), people...)
		shape(f, r)
	}
	return k
}

// wrongSigners says what is wrong with the number and order of a record's
// signatures, nil when nothing: its signer's, then one of each person it names,
// then its new key's, and no other. With a stranger's signature beside it, an old
// record could be sent again under the stranger's ticket.
func wrongSigners(r *recordv1.Record, keys [][]byte) *recordv1.Finding {
	if r.GetJoin() != nil {
		return nil // its own rule says which keys sign it
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

// countersigned finds who signed beside the signer: each named person, in their
// place, with a key that is live now. What several people sign always lifts
// protection or gives a key, so a revoked key counts for nothing (decisions.md 2).
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
