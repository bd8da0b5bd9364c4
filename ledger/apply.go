package ledger

import (
	"bytes"
	"fmt"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// NoLedger: a record came before the founding one.
	NoLedger    = code.New("NO_LEDGER", code.Row{})
	UnknownKind = code.New("UNKNOWN_KIND", code.Row{Args: "kind", Who: "the-signer", Answer: code.Malformed})
	// OtherLedger: the record was signed for another ledger.
	OtherLedger = code.New("OTHER_LEDGER", code.Row{Who: "the-signer"})
	// WrongWay: way is how a record of this kind travels, "way-journal" or
	// "way-direct".
	WrongWay = code.New("WRONG_WAY", code.Row{Args: "kind way:word", Who: "the-signer"})
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

// Try says what Apply would do with an entry, and changes nothing.
func (s *State) Try(e *Entry) *recordv1.Outcome { return s.Clone().Apply(e) }

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
		x.deny(NoLedger, "")
	case x.env != nil:
		x.journal()
	default:
		x.act(false)
	}
}

func (x *step) refused() bool { return len(x.out.Conditions) > 0 }

// act checks what every record must meet, then hands it to the rule of its kind.
func (x *step) act(journal bool) {
	r := x.rec
	t := PermitFor(x.out.Kind)
	switch {
	case t == nil:
		x.deny(UnknownKind, x.out.Kind, x.out.Kind)
		return
	case !bytes.Equal(r.GetLedger(), x.s.LedgerID()):
		x.deny(OtherLedger, "")
		return
	case t.Journal != journal:
		way := "way-direct"
		if t.Journal {
			way = "way-journal"
		}
		x.deny(WrongWay, x.out.Kind, x.out.Kind, way)
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
	x.countersigned()
	if x.refused() {
		return
	}
	if !x.useTicket(t.Class) {
		return
	}
	x.dispatch()
}

// refuse, flag, change and cond: to go, see deny, note, did and code.Code.About.
func (x *step) refuse(code, subject, text, remedy, who, clause string) {
	x.out.Conditions = append(x.out.Conditions, cond(code, subject, text, remedy, who, clause))
}

func (x *step) flag(code, subject, text, clause string) {
	x.out.Flags = append(x.out.Flags, &recordv1.Finding{Code: code, Subject: subject, Text: text, Clause: clause})
}

func (x *step) change(format string, a ...any) {
	x.out.Changes = append(x.out.Changes, fmt.Sprintf(format, a...))
}

func cond(code, subject, text, remedy, who, clause string) *recordv1.Finding {
	return &recordv1.Finding{Code: code, Subject: subject, Text: text, Remedy: remedy, Who: who, Clause: clause}
}
