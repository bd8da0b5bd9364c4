package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetRevokeKey, Kind{Name: "revoke_key", Called: "person revoke-key", Class: Lifts, May: whoHas(manager), Clause: noClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.RevokeKey) About { return About{} },
		func(f *fields, a *recordv1.RevokeKey) {
			f.name("person", a.GetPerson())
			f.bytes32("key", a.GetKey())
			f.optionalText("why", a.GetWhy())
		},
		(*step).revokeKey),
	kind((*recordv1.Record).GetReplaceKey, Kind{Name: "replace_key", Called: "key replace", Class: Lifts, May: ofTheirOwn(), Clause: noClause, By: ByPerson, With: newKeyOfReplacement,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.ReplaceKey) About { return About{} },
		func(f *fields, a *recordv1.ReplaceKey) { f.bytes32("key", a.GetKey()) },
		(*step).replaceKey),
	kind((*recordv1.Record).GetReissueKey, Kind{Name: "reissue_key", Called: "person reissue-key", Class: Lifts, May: whoHas(manager), Clause: noClause, By: ByPerson, With: newKeyOfReissue,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.ReissueKey) About { return About{} },
		func(f *fields, a *recordv1.ReissueKey) {
			f.name("person", a.GetPerson())
			f.bytes32("key", a.GetKey())
		},
		(*step).reissueKey),
)

func newKeyOfReplacement(r *recordv1.Record) ([]string, []byte) {
	return nil, r.GetReplaceKey().GetKey()
}

func newKeyOfReissue(r *recordv1.Record) ([]string, []byte) { return nil, r.GetReissueKey().GetKey() }

var (
	// UnknownKey: the person has no such key.
	UnknownKey       = code.New("UNKNOWN_KEY", code.Row{Args: "person key", Who: "the-signer", Answer: code.Unknown})
	KeyRevokedBefore = code.New("KEY_REVOKED_BEFORE", code.Row{Args: "person key", Answer: code.Taken})
	// LastManager: without this key nobody could invite anybody again.
	LastManager = code.New("LAST_MANAGER", code.Row{Args: "person", Who: "a-manager", Next: "yardhasp invite person ID --name NAME --role manager"})
	// KeyInUse: the key is enrolled, or was once.
	KeyInUse      = code.New("KEY_IN_USE", code.Row{Args: "key", Who: "the-signer", Next: "yardhasp key new FILE", Answer: code.Taken})
	OwnKey        = code.New("OWN_KEY", code.Row{Args: "person", Who: "another-manager", Next: "yardhasp key replace FILE"})
	KeyTakenBack  = code.New("KEY_TAKEN_BACK", code.Row{Args: "person key"})
	KeyReplaced   = code.New("KEY_REPLACED", code.Row{Args: "person key before"})
	KeyReissued   = code.New("KEY_REISSUED", code.Row{Args: "person key by"})
	NewerThanLock = code.New("KEY_NEWER_THAN_LOCK", code.Row{Args: "person record", Clause: removalClause, Who: "two-managers",
		Next: "yardhasp removal draft {record} --second MANAGER --not-here WORDS --tried WORDS"})
	// OneHand: the two signers could be one person with two keys. One of them gave the
	// other their key, or one person gave both of them their keys.
	OneHand = code.New("ONE_HAND", code.Row{Args: "signer other instead:word clause", Who: "{instead}"})
	// KeyFromThem: the signer acts in the place of a person, or about a person, who gave
	// the signer their key and could sign with it.
	KeyFromThem = code.New("KEY_FROM_THEM", code.Row{Args: "signer giver clause", Who: "another-manager"})
)

// revokeKey ends a key for ever, because it was lost or copied or its owner left.
func (x *step) revokeKey(r *recordv1.RevokeKey) {
	person, key := r.GetPerson(), fingerprintShort(r.GetKey())
	k := x.s.KeyOf(r.GetKey())
	switch {
	case k == nil || k.Person != person || k.Person == "":
		x.deny(UnknownKey, person, person, key)
	case k.Revoked > 0:
		x.deny(KeyRevokedBefore, person, person, key)
	case x.s.People[person].Has(manager) && !x.s.managerBeside(person):
		x.deny(LastManager, person, person)
	default:
		x.takeBack(k)
	}
}

// managerBeside reports whether a manager other than this person has a live key.
func (s *State) managerBeside(person string) bool {
	for id, p := range s.People {
		if id != person && p.Has(manager) && s.LiveKey(id) != nil {
			return true
		}
	}
	return false
}

// takeBack revokes a key from this entry on. What the key signed before stays valid.
func (x *step) takeBack(k *Key) {
	k.Revoked = max(x.mark.Index, 1)
	x.did(KeyTakenBack, k.Person, k.Person, fingerprintShort(k.Public))
}

// replaceKey replaces the signing key by a new one. The previous key signed the change,
// so the new key counts as no younger: it may end what the previous key began
// (design.md, Security).
func (x *step) replaceKey(r *recordv1.ReplaceKey) {
	old := x.signingKey(x.who.ID)
	if !x.freshKey(r.GetKey()) {
		return
	}
	x.s.Keys[seal.Fingerprint(r.GetKey())] = &Key{Public: slices.Clone(r.GetKey()), Person: x.who.ID, Since: old.Since, By: old.By}
	old.Revoked = max(x.mark.Index, 1)
	x.did(KeyReplaced, x.who.ID, x.who.ID, fingerprintShort(r.GetKey()), fingerprintShort(old.Public))
}

// reissueKey gives a new key to a person who lost theirs, on a manager's word. The new
// key cannot end anything that was on before it. Otherwise a manager could release
// another person's lock.
func (x *step) reissueKey(r *recordv1.ReissueKey) {
	p := x.s.People[r.GetPerson()]
	switch {
	case p == nil:
		x.deny(UnknownPerson, r.GetPerson(), r.GetPerson())
		return
	case p.ID == x.who.ID:
		x.deny(OwnKey, p.ID, p.ID)
		return
	case !x.freshKey(r.GetKey()):
		return
	}
	for _, f := range sorted(x.s.Keys) {
		if k := x.s.Keys[f]; k.Person == p.ID && k.Revoked == 0 {
			x.takeBack(k)
		}
	}
	x.s.Keys[seal.Fingerprint(r.GetKey())] = &Key{Public: slices.Clone(r.GetKey()), Person: p.ID, Since: x.mark.Index, By: x.who.ID}
	x.did(KeyReissued, p.ID, p.ID, fingerprintShort(r.GetKey()), x.who.ID)
}

// freshKey refuses a key that anybody has or had.
func (x *step) freshKey(key []byte) bool {
	if x.s.KeyOf(key) == nil {
		return true
	}
	x.deny(KeyInUse, fingerprintShort(key), fingerprintShort(key))
	return false
}

// fingerprintShort is the part of a fingerprint that fits into a sentence.
func fingerprintShort(key []byte) string {
	f := seal.Fingerprint(key)
	return f[:min(len(f), 19)]
}

// mayEnd refuses to end a hold with a key that is younger than the hold.
func (x *step) mayEnd(h *Hold, person string) bool {
	if k := x.signingKey(person); k != nil && k.Since <= h.Since {
		return true
	}
	x.deny(NewerThanLock, h.Ref, person, h.Ref)
	return false
}

// oldestEndingKey is an entry index. A key younger than that entry cannot end what this
// record begins. A record can arrive long after it was written, and its key may be
// revoked by then. A key that a manager issued meanwhile must still count as younger
// than this record (design.md, Security).
func (x *step) oldestEndingKey() uint64 {
	if k := x.signingKey(x.who.ID); k != nil && k.Revoked > 0 {
		return k.Since
	}
	return x.mark.Index
}

// keyAt is the key that a person could sign with at an entry, or nil if they had none.
func (s *State) keyAt(person string, index uint64) *Key {
	for _, f := range sorted(s.Keys) {
		if k := s.Keys[f]; k.Person == person && person != "" && k.Since <= index && (k.Revoked == 0 || k.Revoked >= index) {
			return k
		}
	}
	return nil
}

// couldSignWith lists the people who could sign with a key: its owner, the manager who
// gave it to them, and everybody who could sign for that manager at that time.
func (s *State) couldSignWith(k *Key) []string {
	var out []string
	for k != nil {
		out = append(out, k.Person)
		if k.By == "" {
			break
		}
		giver := s.keyAt(k.By, k.Since)
		if giver == nil || giver.Since >= k.Since { // a giver's key must be older than the key it gave
			out = append(out, k.By)
			break
		}
		k = giver
	}
	return out
}

// mightBeOneHand reports whether one person could sign with both keys.
func (s *State) mightBeOneHand(a, b *Key) bool {
	return a != nil && b != nil && overlap(s.couldSignWith(a), s.couldSignWith(b))
}

// notOneHand refuses a second signer who could be the first signer with another key.
// instead is a catalogue word for the person who should sign.
func (x *step) notOneHand(second, instead, clause string) {
	if x.s.mightBeOneHand(x.signingKey(x.who.ID), x.signingKey(second)) {
		x.deny(OneHand, second, x.who.ID, second, instead, clause)
	}
}

// keyGivers lists who, besides the signer, could sign with the signer's key.
func (x *step) keyGivers() []string {
	return slices.DeleteFunc(x.s.couldSignWith(x.signingKey(x.who.ID)), func(id string) bool { return id == x.who.ID })
}

// notGivenBy refuses an act in the place of a person, or about a person, who could sign
// with the signer's key.
func (x *step) notGivenBy(about, clause string, people ...string) {
	for _, id := range x.keyGivers() {
		if slices.Contains(people, id) {
			x.deny(KeyFromThem, about, x.who.ID, id, clause)
		}
	}
}
