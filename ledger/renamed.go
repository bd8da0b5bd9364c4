package ledger

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// To go: old names, for callers that are not yet turned over to codes.

// Cosigners is CountersignersOf.
func Cosigners(r *recordv1.Record) (people []string, newKey []byte) { return CountersignersOf(r) }

func (s *State) hands(k *Key) []string { return s.couldSignWith(k) }

func (x *step) otherHands() []string { return x.keyGivers() }

func (x *step) oneHand(second string) bool {
	return x.s.mightBeOneHand(x.signingKey(x.who.ID), x.signingKey(second))
}

func (x *step) oneHandText(second string) string {
	return fmt.Sprintf("one of %s and %s gave the other their key, or one person gave both theirs: it could be one hand with two keys", x.who.ID, second)
}

func (x *step) bornUnder() uint64 { return x.oldestEndingKey() }

func (x *step) flagDebt(person string) { x.noteUnacknowledged(person) }

func (s *State) debtors(j *Job) []*UnacknowledgedRemoval { return s.unacknowledgedFor(j) }

func (s *State) owedOn(j *Job, hold string) bool { return s.unacknowledgedOn(j, hold) }

func (u *UnacknowledgedRemoval) text() string {
	return fmt.Sprintf("the lock of %s on %s (%s) was removed by %s and %s: %s must be told before working again, and says so", u.Person, u.Target, u.Ref, u.At.By, u.Second, u.Person)
}

// Shapes in words, for checkRecord.

func inWords(shape func(*fields)) string {
	f := &fields{}
	if shape(f); len(f.bad) == 0 {
		return ""
	}
	return "the field " + f.bad[0].GetSubject() + " can't be as it is"
}

func pairsOK(o *recordv1.HandOver) string { return inWords(func(f *fields) { f.handOver(o) }) }

func recoverShape(r *recordv1.RecoverYard) string {
	return inWords(func(f *fields) { f.recoverYard(r) })
}

func duties(r *recordv1.Removal) string { return inWords(func(f *fields) { f.removal(r) }) }
