package ledger

import (
	"fmt"
	"slices"
)

// keyAt is the key that a person could sign with at an entry, nil when they had
// none.
func (s *State) keyAt(person string, index uint64) *Key {
	for _, f := range sorted(s.Keys) {
		if k := s.Keys[f]; k.Person == person && person != "" && k.Since <= index && (k.Revoked == 0 || k.Revoked >= index) {
			return k
		}
	}
	return nil
}

// hands lists who could sign with a key: its person, the manager who gave it to
// them, and whoever could sign for that manager when it was given.
func (s *State) hands(k *Key) []string {
	var out []string
	for k != nil {
		out = append(out, k.Person)
		if k.By == "" {
			break
		}
		giver := s.keyAt(k.By, k.Since)
		if giver == nil || giver.Since >= k.Since { // each is older than the one it gave
			out = append(out, k.By)
			break
		}
		k = giver
	}
	return out
}

// oneHand reports whether the signer and another who signs could be one hand with
// two keys: one gave the other their key, or one person both.
func (x *step) oneHand(second string) bool {
	a, b := x.signingKey(x.who.ID), x.signingKey(second)
	return a != nil && b != nil && overlap(x.s.hands(a), x.s.hands(b))
}

func (x *step) oneHandText(second string) string {
	return fmt.Sprintf("one of %s and %s gave the other their key, or one person gave both theirs: it could be one hand with two keys", x.who.ID, second)
}

// otherHands lists who could sign with the signer's key beside the signer.
func (x *step) otherHands() []string {
	return slices.DeleteFunc(x.s.hands(x.signingKey(x.who.ID)), func(id string) bool { return id == x.who.ID })
}

// notGivenBy refuses what the signer does in the place of, or about, somebody who
// could sign with the signer's key.
func (x *step) notGivenBy(about, clause string, people ...string) {
	for _, id := range x.otherHands() {
		if slices.Contains(people, id) {
			x.refuse("ONE_HAND", about, fmt.Sprintf("%s could sign with the key of %s, which they gave: it could be one hand with two keys", id, x.who.ID), "another manager gives "+x.who.ID+" a key, or somebody else signs", "another manager", clause)
		}
	}
}
