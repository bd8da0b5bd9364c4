package ledger

import (
	"yardhasp/ledger/code"
)

// trainedClause asks for training as an authorised employee.
const trainedClause = "1910.147(c)(7)(i) (unchecked)"

var (
	// NotTheSigner: the record was not signed with a key of the person it names as
	// signer.
	NotTheSigner         = code.New("NOT_THE_SIGNER", code.Row{Args: "signer", Who: "{signer}", Answer: code.NotSigned})
	SignaturesOutOfOrder = code.New("SIGNATURES_OUT_OF_ORDER", code.Row{Args: "signer", Who: "{signer}", Answer: code.NotSigned})
	// KeyRevoked refuses a record that is signed with a revoked key.
	KeyRevoked = code.New("KEY_REVOKED", code.Row{Args: "person", Who: "{person}", Answer: code.NotSigned})
	// SignedWithRevokedKey flags a record that is taken although a revoked key signed
	// it.
	SignedWithRevokedKey = code.New("SIGNED_WITH_REVOKED_KEY", code.Row{Args: "person"})
	// NotPermitted: the act needs a person of another role. As a flag it means that the
	// record was kept, but counts only as far as its kind counts from anybody.
	NotPermitted = code.New("NOT_PERMITTED", code.Row{Args: "person role:word clause", Who: "{role}", Answer: code.Denied})
	// TrainingLapsed: the person has no current training as an authorised employee.
	TrainingLapsed = code.New("TRAINING_LAPSED", code.Row{Args: "person", Clause: trainedClause, Who: "supervisor-manager", Next: "yardhasp person training {person} --until DAY"})
)

// identify finds the signer and decides whether they may do the act.
func (x *step) identify(k *Kind) {
	s, r := x.s, x.rec
	key := s.KeyOf(x.e.keys[0])
	if key != nil && (key.Person != r.GetSigner() || key.Person == "") {
		key = nil
	}
	x.who = s.People[r.GetSigner()]
	switch {
	case key == nil && x.signingKey(r.GetSigner()) != nil:
		x.deny(SignaturesOutOfOrder, r.GetSigner(), r.GetSigner())
		return
	case key == nil || x.who == nil:
		// Nobody can be held to such a record. Even a lock does not count without its
		// owner's key.
		x.deny(NotTheSigner, r.GetSigner(), r.GetSigner())
		return
	case key.Revoked > 0 && k.Class == Lifts:
		x.deny(KeyRevoked, x.who.ID, x.who.ID)
		return
	case key.Revoked > 0:
		x.note(SignedWithRevokedKey, x.who.ID, x.who.ID)
	}
	x.ok = key.Revoked == 0
	equipment := r.GetLock().GetEquipment()
	if !k.May.Allows(x.who) && !(equipment && x.who.Has(supervisor, manager)) {
		x.ok = false
		if k.Class == Lifts && !(k.May.own && len(k.May.roles) > 0) {
			x.deny(NotPermitted, x.who.ID, x.who.ID, k.May.Word(), k.Clause)
			return
		}
		x.note(NotPermitted, x.who.ID, x.who.ID, k.May.Word(), k.Clause)
	}
	if k.Training == TrainingNeeded && !equipment && !x.who.trained(x.mark.Time) {
		x.note(TrainingLapsed, x.who.ID, x.who.ID)
	}
}

// trained reports whether a person is trained as an authorised employee at a moment, in
// Unix ms.
func (p *Person) trained(at int64) bool { return p.TrainedUntil > at }
