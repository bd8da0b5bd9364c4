package ledger

import (
	"bytes"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// NoLedger: a record came before the founding record.
	NoLedger    = code.New("NO_LEDGER", code.Row{})
	UnknownKind = code.New("UNKNOWN_KIND", code.Row{Args: "kind", Who: "the-signer", Answer: code.Malformed})
	// OtherLedger: the record was signed for another ledger.
	OtherLedger = code.New("OTHER_LEDGER", code.Row{Who: "the-signer"})
	// WrongWay: this kind of record travels another way. The argument way is a catalogue
	// word.
	WrongWay = code.New("WRONG_WAY", code.Row{Args: "kind way:word", Who: "the-signer"})
)

// step is one entry being applied.
type step struct {
	s    *State
	e    *Entry
	rec  *recordv1.Record
	env  *recordv1.Envelope
	mark Mark
	who  *Person // the signer; nil for a fence or an unknown signer
	ok   bool    // the signer may do this act and signed with a live key
	out  *recordv1.Outcome
}

// Apply adds one entry and says what it did. It handles every input: every entry becomes
// a leaf, even a refused one, and nothing in an entry can make it panic.
func (s *State) Apply(e *Entry) *recordv1.Outcome {
	x := &step{s: s, e: e, rec: e.rec, env: e.env}
	s.Time = max(s.Time, e.time)
	x.out = &recordv1.Outcome{Index: s.Tree.Size, TimeUnixMs: s.Time, Kind: KindOf(e.rec), Signer: e.rec.GetSigner()}
	x.mark = Mark{Index: s.Tree.Size, Time: s.Time, Late: s.Time, By: e.rec.GetSigner()}
	if t := e.rec.GetCapturedUnixMs(); t > 0 && t < s.Time {
		x.mark.Time = t
	}
	s.watchPermits(x.mark) // what lapsed with time lapsed before this record
	x.run()
	x.approve()
	x.out.Accepted = len(x.out.Conditions) == 0
	s.Tree.Append(e.raw)
	s.prune()
	// Do this after a refused entry too. Time went on, and training may have ended.
	s.watchPermits(x.mark)
	s.watchStandings(x.mark)
	return x.out
}

// Try says what Apply would do with an entry. It changes nothing.
func (s *State) Try(e *Entry) *recordv1.Outcome { return s.Clone().Apply(e) }

func (x *step) run() {
	switch {
	case x.e.fault != nil:
		x.out.Conditions = append(x.out.Conditions, x.e.fault)
		x.out.Kind = "unreadable"
		if x.env != nil {
			// A valid envelope with a broken record inside still uses up its sequence
			// number.
			x.consume()
		}
	case x.e.founding != nil:
		x.out.Kind = "founding"
		x.found()
	case x.s.Ledger == "":
		x.deny(NoLedger, "")
	case x.env != nil:
		x.journal()
	default:
		x.act(false)
	}
}

func (x *step) refused() bool { return len(x.out.Conditions) > 0 }

// act checks what every record must meet, then applies the rule of its kind.
func (x *step) act(journal bool) {
	r := x.rec
	k := KindFor(r)
	switch {
	case k == nil:
		x.deny(UnknownKind, x.out.Kind, x.out.Kind)
		return
	case !bytes.Equal(r.GetLedger(), x.s.LedgerID()):
		x.deny(OtherLedger, "")
		return
	case (k.Way == ThroughJournal) != journal:
		x.out.Conditions = append(x.out.Conditions, k.NotThisWay())
		return
	}
	x.out.Conditions = append(x.out.Conditions, x.e.bad...)
	if x.refused() {
		return
	}
	if k.By == ByPerson { // for any other kind, its own rule finds the signer
		x.identify(k)
		x.countersigned(k)
		if x.refused() || !x.useTicket(k.Class) {
			return
		}
	}
	k.Apply(x)
}
