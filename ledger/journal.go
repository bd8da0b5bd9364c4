package ledger

import (
	"bytes"
	"encoding/hex"
	"slices"

	"yardhasp/ledger/code"
)

// recoverCommand starts a yard again after a walkdown.
const recoverCommand = "yardhasp recover-yard {yard} --second MANAGER --key KEY --address HOST:PORT --old-machine-off"

var (
	UnknownYard          = code.New("UNKNOWN_YARD", code.Row{Args: "yard", Who: "a-manager", Answer: code.Unknown})
	JournalOfOtherLedger = code.New("JOURNAL_OF_OTHER_LEDGER", code.Row{Args: "yard"})
	// OldEpoch: the yard was recovered since. Records of its previous machine no longer
	// count.
	OldEpoch = code.New("OLD_EPOCH", code.Row{Args: "yard epoch:number now:number"})
	// EpochAhead: the yard has not reached that epoch.
	EpochAhead   = code.New("EPOCH_AHEAD", code.Row{Args: "yard epoch:number now:number"})
	OtherReplica = code.New("OTHER_REPLICA", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	SeqGap       = code.New("SEQ_GAP", code.Row{Args: "yard number:number next:number"})
	InLedger     = code.New("ALREADY_IN_LEDGER", code.Row{Args: "record"})
	// ClonedJournal: two machines wrote the journal of one yard. The argument how is
	// "two-records-with-one-number" or "journal-does-not-continue".
	ClonedJournal = code.New("CLONED_JOURNAL", code.Row{Args: "yard how:word", Who: "two-managers", Next: recoverCommand})
	YardStopped   = code.New("YARD_STOPPED", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	// VoidByClone says why a request ended.
	VoidByClone = code.New("VOID_BY_CLONE", code.Row{Args: "yard"})
)

// journal takes a yard's journal record. The record must be the next one of the yard's
// current epoch, signed by its replica, and must follow the previous record
// (protocol.md 3.2, decisions.md 1). Its sequence number is then used up, even if its body is
// refused.
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
	// moved[p] is set whenever such a record is consumed, accepted or not
	// (decisions.md 3).
	moved := append([]string{x.rec.GetEnergise().GetPoint() + x.rec.GetFoundClosed().GetPoint()}, x.rec.GetFoundStarted().GetPoints()...)
	for _, id := range moved {
		if p := x.s.Points[id]; p != nil && p.Yard == x.env.GetYard() {
			p.Moved = Moved{x.mark.Epoch, x.mark.Seq}
		}
	}
	x.act(true)
}

// consume uses up the sequence number of a journal record. It is false if it may not.
func (x *step) consume() bool {
	s, env := x.s, x.env
	x.out.Ref = Ref(env.GetYard(), env.GetEpoch(), env.GetSeq())
	y := s.Yards[env.GetYard()]
	switch {
	case s.Ledger == "" || !bytes.Equal(env.GetLedger(), s.LedgerID()):
		x.deny(JournalOfOtherLedger, env.GetYard(), env.GetYard())
	case y == nil:
		x.deny(UnknownYard, env.GetYard(), env.GetYard())
	case env.GetEpoch() < y.Epoch:
		x.deny(OldEpoch, y.ID, y.ID, env.GetEpoch(), y.Epoch)
	case !bytes.Equal(x.e.envKey, y.Key):
		x.deny(OtherReplica, y.ID, y.ID)
	case env.GetEpoch() != y.Epoch:
		x.deny(EpochAhead, y.ID, y.ID, env.GetEpoch(), y.Epoch)
	case env.GetSeq() <= y.Drained:
		x.repeated(y)
	case env.GetSeq() != y.Drained+1:
		x.deny(SeqGap, x.out.Ref, y.ID, env.GetSeq(), y.Drained+1)
	case y.Drained > 0 && !bytes.Equal(env.GetPrevious(), y.lastHash()) || y.Drained == 0 && len(env.GetPrevious()) > 0:
		x.cloned(y, "journal-does-not-continue")
	case y.Cloned:
		x.deny(YardStopped, y.ID, y.ID)
	default:
		x.takePlace(y)
		return true
	}
	return false
}

// takePlace uses up the sequence number and puts it, with its times, into the record's
// mark.
func (x *step) takePlace(y *Yard) {
	env := x.env
	y.Drained++
	y.Hashes = append(y.Hashes, hex.EncodeToString(x.e.envHash[:]))
	if len(y.Hashes) > keepHashes {
		y.Hashes = slices.Delete(y.Hashes, 0, len(y.Hashes)-keepHashes)
	}
	x.mark.Yard, x.mark.Epoch, x.mark.Seq, x.mark.BasedOn = y.ID, env.GetEpoch(), env.GetSeq(), env.GetBasedOn()
	if x.mark.BasedOn > x.mark.Index {
		x.mark.BasedOn = x.mark.Index // a yard cannot have seen an entry that comes later
	}
	if t := env.GetWrittenUnixMs(); t > 0 && !env.GetClockDoubt() {
		x.mark.Time = min(x.mark.Time, t)
		x.mark.Late = max(t, min(x.s.Time, x.rec.GetCapturedUnixMs()))
	}
}

func (y *Yard) lastHash() []byte {
	if len(y.Hashes) == 0 {
		return nil
	}
	b, _ := hex.DecodeString(y.Hashes[len(y.Hashes)-1])
	return b
}

// repeated handles a sequence number that is already used up. The same envelope again is
// harmless. A different envelope proves a cloned disk.
func (x *step) repeated(y *Yard) {
	back := y.Drained - x.env.GetSeq()
	if n := uint64(len(y.Hashes)); back < n {
		if y.Hashes[n-1-back] != hex.EncodeToString(x.e.envHash[:]) {
			x.cloned(y, "two-records-with-one-number")
			return
		}
	}
	x.deny(InLedger, x.out.Ref, x.out.Ref)
}

// cloned stops a yard. Either machine may have promised locks that never arrive, so
// every request that needs the yard's word becomes void.
func (x *step) cloned(y *Yard, how string) {
	y.Cloned = true
	for _, id := range sorted(x.s.Reqs) {
		if q := x.s.Reqs[id]; q.open() && slices.Contains(q.Involved, y.ID) {
			x.void(q, VoidByClone.About(q.ID, y.ID))
		}
	}
	x.s.raise(y.ID, ClonedJournal.About(y.ID, y.ID, how), x.mark)
	x.deny(ClonedJournal, y.ID, y.ID, how)
}
