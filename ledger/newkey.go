package ledger

import (
	"slices"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// replaceKey puts a new key in the place of the one that signs. The old key signed
// the change, so the new one may end what the old one began (design.md, Security):
// it counts as no younger.
func (x *step) replaceKey(r *recordv1.ReplaceKey) {
	old := x.signingKey(x.who.ID)
	if !x.freshKey(r.GetKey()) {
		return
	}
	x.s.Keys[seal.Fingerprint(r.GetKey())] = &Key{Public: slices.Clone(r.GetKey()), Person: x.who.ID, Since: old.Since, By: old.By}
	old.Revoked = max(x.mark.Index, 1)
	x.change("the key %s of %s is in the place of %s", fingerprintShort(r.GetKey()), x.who.ID, fingerprintShort(old.Public))
}

// reissueKey gives somebody who lost their key a new one, on a manager's word. It
// ends nothing that was on before it: that would be a manager's release.
func (x *step) reissueKey(r *recordv1.ReissueKey) {
	p := x.s.People[r.GetPerson()]
	switch {
	case p == nil:
		x.refuse("UNKNOWN_PERSON", r.GetPerson(), "nobody of this name is enrolled", "invite them first", "a manager", "")
		return
	case p.ID == x.who.ID:
		x.refuse("OWN_KEY", p.ID, "nobody gives themselves a key: you have the old one", "replace your own key with it, or ask another manager", "another manager", "")
		return
	case !x.freshKey(r.GetKey()):
		return
	}
	for _, f := range sorted(x.s.Keys) {
		if k := x.s.Keys[f]; k.Person == p.ID && k.Revoked == 0 {
			k.Revoked = max(x.mark.Index, 1)
			x.change("key %s of %s revoked: what it signed before stays valid", fingerprintShort(k.Public), p.ID)
		}
	}
	x.s.Keys[seal.Fingerprint(r.GetKey())] = &Key{Public: slices.Clone(r.GetKey()), Person: p.ID, Since: x.mark.Index, By: x.who.ID}
	x.change("%s has the new key %s: it ends no lock and no sign-on from before it", p.ID, fingerprintShort(r.GetKey()))
}

func (x *step) freshKey(key []byte) bool {
	if x.s.KeyOf(key) == nil {
		return true
	}
	x.refuse("KEY_IN_USE", fingerprintShort(key), "this key is enrolled already, or was", "make a new key", "", "")
	return false
}
