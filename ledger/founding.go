package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"yardhasp/ledger/code"
)

var (
	// Founded: a ledger exists already. As a change, it says that a ledger began.
	Founded          = code.New("FOUNDED", code.Row{Args: "coop:text", Answer: code.Taken})
	FoundingUnsigned = code.New("FOUNDING_UNSIGNED", code.Row{Answer: code.NotSigned})
	// OneKeyForTwo: the first manager and the first replica have the same key.
	OneKeyForTwo = code.New("ONE_KEY_FOR_TWO", code.Row{Args: "manager yard", Answer: code.Taken})
	LedgerBegun  = code.New("LEDGER_BEGUN", code.Row{Args: "coop:text yard manager"})
)

// found starts the ledger.
func (x *step) found() {
	s, f := x.s, x.e.founding
	signed := func(key []byte) bool {
		return slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, key) })
	}
	person, yard := f.GetManager(), f.GetYard()
	switch {
	case s.Ledger != "":
		x.deny(Founded, s.Ledger, s.Coop)
		return
	case !signed(f.GetManagerKey()) || !signed(yard.GetReplicaKey()):
		x.deny(FoundingUnsigned, "")
		return
	case bytes.Equal(f.GetManagerKey(), yard.GetReplicaKey()):
		x.deny(OneKeyForTwo, person.GetId(), person.GetId(), yard.GetId())
		return
	}
	shape := &fields{}
	shape.text("coop", f.GetCoop())
	shape.name("yard.id", yard.GetId())
	shape.person("manager", person)
	shape.bytes32("nonce", f.GetNonce())
	if x.out.Conditions = append(x.out.Conditions, shape.bad...); x.refused() {
		return
	}
	id := sha256.Sum256(x.e.body)
	s.Ledger, s.Coop = hex.EncodeToString(id[:]), f.GetCoop()
	x.mark.By = person.GetId()
	x.out.Signer = x.mark.By
	s.addPerson(person, f.GetManagerKey(), x.mark)
	s.addYard(yard, x.mark)
	if err := s.redraw(); err != nil {
		x.deny(DrawingWrong, "", "", err.Error())
		return
	}
	x.did(LedgerBegun, s.Ledger, s.Coop, yard.GetId(), person.GetId())
}
