package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// step is one entry being applied.
type step struct {
	s    *State
	e    *Entry
	rec  *recordv1.Record
	env  *recordv1.Envelope
	mark Mark
	who  *Person // the signer, nil for a fence or an unknown signer
	ok   bool    // the signer may do this act, with a live key
	out  *recordv1.Outcome
}

// Apply adds one entry and says what it did. It is total: every entry becomes a
// leaf, a refused one too, and nothing panics on what an entry holds.
func (s *State) Apply(e *Entry) *recordv1.Outcome {
	x := &step{s: s, e: e, rec: e.rec, env: e.env}
	s.Time = max(s.Time, e.time)
	x.out = &recordv1.Outcome{Index: s.Tree.Size, TimeUnixMs: s.Time, Kind: KindOf(e.rec), Signer: e.rec.GetSigner()}
	x.mark = Mark{Index: s.Tree.Size, Time: s.Time, Late: s.Time, By: e.rec.GetSigner()}
	if t := e.rec.GetCapturedUnixMs(); t > 0 && t < s.Time {
		x.mark.Time = t
	}
	s.watchPermits(x.mark) // time went on: what lapsed by it lapsed before this record
	x.run()
	x.approve()
	x.out.Accepted = len(x.out.Conditions) == 0
	s.Tree.Append(e.raw)
	s.prune()
	// After a refused entry too: time went on, and with it training.
	s.watchPermits(x.mark)
	s.watchStandings(x.mark)
	return x.out
}

func (x *step) run() {
	switch {
	case x.e.fault != nil:
		x.out.Conditions = append(x.out.Conditions, x.e.fault)
		x.out.Kind = "unreadable"
		if x.env != nil {
			// A valid envelope with a broken record inside still takes its place.
			x.consume()
		}
	case x.e.founding != nil:
		x.out.Kind = "founding"
		x.found()
	case x.s.Ledger == "":
		x.refuse("NO_LEDGER", "", "the first entry must be the founding one", "found a ledger first", "", "")
	case x.env != nil:
		x.journal()
	default:
		x.direct()
	}
}

// refuse adds one unmet condition.
func (x *step) refuse(code, subject, text, remedy, who, clause string) {
	x.out.Conditions = append(x.out.Conditions, cond(code, subject, text, remedy, who, clause))
}

func (x *step) flag(code, subject, text, clause string) {
	x.out.Flags = append(x.out.Flags, &recordv1.Finding{Code: code, Subject: subject, Text: text, Clause: clause})
}

func (x *step) change(format string, a ...any) {
	x.out.Changes = append(x.out.Changes, fmt.Sprintf(format, a...))
}

func (x *step) refused() bool { return len(x.out.Conditions) > 0 }

func cond(code, subject, text, remedy, who, clause string) *recordv1.Finding {
	return &recordv1.Finding{Code: code, Subject: subject, Text: text, Remedy: remedy, Who: who, Clause: clause}
}

// found starts the ledger.
func (x *step) found() {
	s, f := x.s, x.e.founding
	if s.Ledger != "" {
		x.refuse("FOUNDED", s.Coop, "this ledger is founded already", "", "", "")
		return
	}
	if !slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, f.GetManagerKey()) }) ||
		!slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, f.GetYard().GetReplicaKey()) }) {
		x.refuse("BAD_SIGNATURE", "", "the founding must be signed by the first manager and by the first yard's replica", "sign it with both keys", "", "")
		return
	}
	if bytes.Equal(f.GetManagerKey(), f.GetYard().GetReplicaKey()) {
		x.refuse("KEY_IN_USE", f.GetManager().GetId(), "the manager and the replica can't share a key", "make a new key", "", "")
		return
	}
	if bad := checkPerson(f.GetManager()); bad != "" || !Name(f.GetYard().GetId()) || len(f.GetNonce()) != 32 || !text(f.GetCoop()) {
		x.refuse("MALFORMED", "", "the founding is incomplete: "+bad, "give co-op, yard, manager and a 32-byte nonce", "", "")
		return
	}
	id := sha256.Sum256(x.e.body)
	s.Ledger, s.Coop = hex.EncodeToString(id[:]), f.GetCoop()
	x.mark.By = f.GetManager().GetId()
	x.out.Signer = x.mark.By
	s.addPerson(f.GetManager(), f.GetManagerKey(), x.mark)
	s.addYard(f.GetYard(), x.mark)
	if err := s.redraw(); err != nil {
		x.refuse("MALFORMED", "", err.Error(), "", "", "")
		return
	}
	x.change("ledger of %s founded at %s by %s", s.Coop, f.GetYard().GetId(), f.GetManager().GetId())
}

// journal takes a yard's journal record: it must be the next one of that yard's
// current epoch, signed by its replica, after the previous one (protocol.md 3.2,
// decisions.md 1). Whatever the outcome of its body, its place is then used up.
func (x *step) journal() {
	if !x.consume() {
		return
	}
	if f := x.env.GetFence(); f != nil {
		x.out.Kind, x.out.Signer = "fence", x.env.GetYard()
		x.mark.By = x.env.GetYard()
		x.fence(f)
		return
	}
	// moved[p] is set whenever one is consumed, accepted or not (decisions.md 3).
	moved := append([]string{x.rec.GetEnergise().GetPoint() + x.rec.GetFoundClosed().GetPoint()}, x.rec.GetFoundStarted().GetPoints()...)
	for _, id := range moved {
		if p := x.s.Points[id]; p != nil && p.Yard == x.env.GetYard() {
			p.Moved = Moved{x.mark.Epoch, x.mark.Seq}
		}
	}
	x.act(true)
}

func (x *step) consume() bool {
	s, env := x.s, x.env
	x.out.Ref = Ref(env.GetYard(), env.GetEpoch(), env.GetSeq())
	y := s.Yards[env.GetYard()]
	switch {
	case s.Ledger == "" || !bytes.Equal(env.GetLedger(), s.LedgerID()):
		x.refuse("OTHER_LEDGER", env.GetYard(), "the journal record belongs to another ledger", "", "", "")
	case y == nil:
		x.refuse("UNKNOWN_YARD", env.GetYard(), "no yard of this name has joined", "join with an invitation first", "a manager", "")
	case env.GetEpoch() < y.Epoch:
		x.refuse("OLD_EPOCH", y.ID, fmt.Sprintf("the record is of epoch %d, the yard was recovered and is in epoch %d: what the old machine wrote counts no more", env.GetEpoch(), y.Epoch), "", "", "")
	case !bytes.Equal(x.e.envKey, y.Key):
		x.refuse("OTHER_REPLICA", y.ID, "the journal record is signed by a machine that is not this yard's replica", "recover the yard with a walkdown if its machine was replaced", "two managers", "")
	case env.GetEpoch() != y.Epoch:
		x.refuse("OLD_EPOCH", y.ID, fmt.Sprintf("the record is of epoch %d, the yard is in epoch %d", env.GetEpoch(), y.Epoch), "", "", "")
	case env.GetSeq() <= y.Drained:
		x.repeated(y)
	case env.GetSeq() != y.Drained+1:
		x.refuse("SEQ_GAP", x.out.Ref, fmt.Sprintf("record %d of %s comes before record %d was taken", env.GetSeq(), y.ID, y.Drained+1), "send the journal in order", "", "")
	case y.Drained > 0 && !bytes.Equal(env.GetPrevious(), y.lastHash()) || y.Drained == 0 && len(env.GetPrevious()) > 0:
		x.clone(y, "its journal does not continue the one the ledger has")
	case y.Cloned:
		x.refuse("YARD_STOPPED", y.ID, "two machines wrote this yard's journal: the yard is stopped", "recover the yard with a walkdown", "two managers", "")
	default:
		y.Drained++
		y.Hashes = append(y.Hashes, hex.EncodeToString(x.e.envHash[:]))
		if len(y.Hashes) > keepHashes {
			y.Hashes = slices.Delete(y.Hashes, 0, len(y.Hashes)-keepHashes)
		}
		x.mark.Yard, x.mark.Epoch, x.mark.Seq, x.mark.BasedOn = y.ID, env.GetEpoch(), env.GetSeq(), env.GetBasedOn()
		if x.mark.BasedOn > x.mark.Index {
			x.mark.BasedOn = x.mark.Index // a yard can't have seen what comes later
		}
		if t := env.GetWrittenUnixMs(); t > 0 && !env.GetClockDoubt() {
			x.mark.Time = min(x.mark.Time, t)
			x.mark.Late = max(t, min(s.Time, x.rec.GetCapturedUnixMs()))
		}
		return true
	}
	return false
}

func (y *Yard) lastHash() []byte {
	if len(y.Hashes) == 0 {
		return nil
	}
	b, _ := hex.DecodeString(y.Hashes[len(y.Hashes)-1])
	return b
}

// repeated: a place that is used up. The same envelope is a harmless repeat;
// another one proves a cloned disk.
func (x *step) repeated(y *Yard) {
	back := y.Drained - x.env.GetSeq()
	if n := uint64(len(y.Hashes)); back < n {
		if y.Hashes[n-1-back] != hex.EncodeToString(x.e.envHash[:]) {
			x.clone(y, "two different records carry the same number")
			return
		}
	}
	x.refuse("ALREADY_IN_LEDGER", x.out.Ref, "this journal record is in the ledger already", "", "", "")
}

// clone stops a yard. Either machine may have promised locks that never arrive,
// so what waits on the yard's word is void.
func (x *step) clone(y *Yard, how string) {
	y.Cloned = true
	for _, id := range sorted(x.s.Reqs) {
		if q := x.s.Reqs[id]; q.open() && slices.Contains(q.Involved, y.ID) {
			x.s.void(q, "two machines wrote the journal of "+y.ID, x)
		}
	}
	x.s.alarm("CLONED_JOURNAL", y.ID, fmt.Sprintf("%s: %s. Two machines may be running as this yard. It is stopped until it is recovered with a walkdown", y.ID, how), x.mark)
	x.refuse("CLONED_JOURNAL", y.ID, how, "stop both machines and recover the yard with a walkdown", "two managers", "")
}

// direct takes a record that goes straight to the quorum.
func (x *step) direct() { x.act(false) }

// act checks what every record must meet, then dispatches.
func (x *step) act(journal bool) {
	s, r := x.s, x.rec
	t := PermitFor(x.out.Kind)
	switch {
	case t == nil:
		x.refuse("MALFORMED", x.out.Kind, "no such act", "", "", "")
		return
	case !bytes.Equal(r.GetLedger(), s.LedgerID()):
		x.refuse("OTHER_LEDGER", "", "the record was signed for another ledger", "sign it again for this one", "", "")
		return
	case t.Journal != journal:
		x.refuse("WRONG_WAY", x.out.Kind, "this kind of record does not travel this way", "send it to a yard's replica", "", "")
		return
	}
	if bad := checkRecord(r); bad != "" {
		x.refuse("MALFORMED", x.out.Kind, bad, "correct it and sign it again", r.GetSigner(), "")
		return
	}
	switch x.out.Kind {
	case "join":
		x.join(r.GetJoin())
		return
	case "expire":
		x.expire(r.GetExpire())
		return
	}
	x.identify(t)
	x.cosign()
	if x.refused() {
		return
	}
	if !s.useTicket(x, t) {
		return
	}
	x.dispatch()
}

// identify finds the signer and decides whether they may do the act.
func (x *step) identify(t *Permit) {
	s, r := x.s, x.rec
	key := s.KeyOf(x.e.keys[0])
	if key != nil && (key.Person != r.GetSigner() || key.Person == "") {
		key = nil
	}
	x.who = s.People[r.GetSigner()]
	switch {
	case key == nil && x.signingKey(r.GetSigner()) != nil:
		x.refuse("BAD_SIGNATURE", r.GetSigner(), "the signatures are not in order: the signer's own comes first", "sign it again, in order", r.GetSigner(), "")
		return
	case key == nil || x.who == nil:
		// Nobody can be held to it: not even a lock is one without an owner's key.
		x.refuse("NOT_THE_SIGNER", r.GetSigner(), fmt.Sprintf("the record says it is by %q, but no key of theirs signed it", r.GetSigner()), "sign it with your own key", r.GetSigner(), "")
		return
	case key.Revoked > 0 && t.Class == Lifts:
		x.refuse("KEY_REVOKED", x.who.ID, "the key that signed this was revoked", "sign with your present key", x.who.ID, "")
		return
	case key.Revoked > 0:
		x.flag("KEY_REVOKED", x.who.ID, "signed with a key that was revoked", "")
	}
	x.ok = key.Revoked == 0
	if !t.may(x.who) && !(r.GetLock().GetEquipment() && x.who.Has(supervisor, manager)) {
		x.ok = false
		if t.Class == Lifts && !(t.Own && len(t.Roles) > 0) {
			x.refuse("NOT_PERMITTED", x.who.ID, fmt.Sprintf("%s may not do this", x.who.ID), "ask "+t.who(), t.who(), t.Clause)
			return
		}
		x.flag("NOT_PERMITTED", x.who.ID, fmt.Sprintf("%s is not %s", x.who.ID, t.who()), t.Clause)
	}
	if t.Journal && needsTraining[t.Kind] && !r.GetLock().GetEquipment() && !x.who.trained(x.mark.Time) {
		x.flag("TRAINING_LAPSED", x.who.ID, fmt.Sprintf("%s has no current training as an authorised employee", x.who.ID), "1910.147(c)(7)(i) (unchecked)")
	}
}

var needsTraining = map[string]bool{"lock": true, "sign_on": true, "isolate": true, "energise": true}

func (p *Person) trained(at int64) bool { return p.TrainedUntil > at }

// fingerprintShort is the part of a fingerprint that fits a sentence.
func fingerprintShort(key []byte) string {
	f := seal.Fingerprint(key)
	return f[:min(len(f), 19)]
}

// Try says what Apply would do with an entry, and changes nothing.
func (s *State) Try(e *Entry) *recordv1.Outcome { return s.Clone().Apply(e) }
