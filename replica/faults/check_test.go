package faults_test

import (
	"bytes"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// entry is one leaf with what it did.
type entry struct {
	index   int
	kind    string
	rec     *recordv1.Record
	env     *recordv1.Envelope
	ref     string
	out     *recordv1.Outcome
	counted bool     // accepted, and not a note without effect
	keys    [][]byte // that signed the record, in their order
}

// repeats are refusals of a copy: what the first one did counts.
var repeats = []code.Code{ledger.InLedger, ledger.TicketRepeated}

// withoutEffect are the flags of a record that was kept and changed nothing.
var withoutEffect = []code.Code{ledger.StaleOpening, ledger.StaleClosing}

// same checks that every yard has the same entries, the root that RFC 6962 gives
// them, and gave the same outcomes, and reads the entries.
func (e *ending) same() (all []entry, bad []string) {
	first := e.yards[0]
	for _, y := range e.yards {
		if !slices.EqualFunc(e.leaves[y], e.leaves[first], bytes.Equal) {
			bad = append(bad, fmt.Sprintf("the histories of %s and %s differ", first, y))
		}
		var tree seal.Edge
		for _, raw := range e.leaves[y] {
			tree.Append(raw)
		}
		if root := tree.Root(); !bytes.Equal(root[:], e.roots[y]) {
			bad = append(bad, fmt.Sprintf("the root %s gives is not that of its %d entries", y, len(e.leaves[y])))
		}
		for _, f := range e.wrong[y] {
			bad = append(bad, y+" is not well: "+f.String())
		}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	for i, raw := range e.leaves[first] {
		d, err := ledger.Decode(raw)
		if err != nil {
			return nil, append(bad, fmt.Sprintf("entry %d: %v", i, err))
		}
		n := entry{index: i, rec: d.Record(), env: d.Envelope(), kind: ledger.KindOf(d.Record()), keys: d.Keys()}
		for _, y := range e.yards {
			// What a snapshot skipped comes without its outcome.
			switch o := e.outs[y][i]; {
			case o.GetTimeUnixMs() == 0:
			case n.out == nil:
				n.out = o
			case !proto.Equal(n.out, o):
				bad = append(bad, fmt.Sprintf("entry %d has other outcomes at other yards: %v and %v", i, n.out, o))
			}
		}
		if n.env != nil {
			n.ref = fmt.Sprintf("%s/%d/%d", n.env.GetYard(), n.env.GetEpoch(), n.env.GetSeq())
		}
		stale := code.Has(n.out.GetFlags(), withoutEffect...)
		n.counted = n.out.GetAccepted() && !stale
		all = append(all, n)
	}
	return all, bad
}

func (n *entry) repeat() bool {
	return code.Has(n.out.GetConditions(), repeats...)
}

// withoutGoAhead: the ledger takes this closing for a switch that was found closed.
func (n *entry) withoutGoAhead() bool {
	return code.Has(n.out.GetFlags(), ledger.NoGoAhead)
}

func (n *entry) accepted() bool { return n != nil && n.out.GetAccepted() }

// byTicket finds each act by its ticket, at the entry that took it.
func byTicket(all []entry) map[string]*entry {
	out := map[string]*entry{}
	for i := range all {
		n := &all[i]
		if n.rec == nil || n.repeat() {
			continue
		}
		out[ticketName(n.rec.GetTicket())] = n
	}
	return out
}

// kept checks that what anybody was told is what the ledger has.
func kept(w *world, all []entry) (bad []string) {
	found := byTicket(all)
	for _, o := range w.story.ops {
		if o.rec == nil || !found[o.ticket()].accepted() && w.wentWith(o) {
			continue
		}
		n := found[o.ticket()]
		who := o.who + " " + o.what
		switch r := o.receipt; {
		case r != nil && n == nil:
			bad = append(bad, fmt.Sprintf("LOST: %s was told %v %s, and the ledger has no such record", who, r.GetStatus(), r.GetRef()))
		case r != nil && r.GetRef() != n.ref:
			bad = append(bad, fmt.Sprintf("LOST: %s was told that it is %s, and the ledger has it as %s", who, r.GetRef(), n.ref))
		case r.GetOutcome() != nil && !proto.Equal(r.GetOutcome(), n.out):
			bad = append(bad, fmt.Sprintf("CHANGED: %s was told %v, and the ledger has %v", who, r.GetOutcome(), n.out))
		case r.GetStatus() == servicev1.Status_STATUS_HELD_LOCALLY && !n.out.GetAccepted():
			bad = append(bad, fmt.Sprintf("LOST: %s was told that it is held, and the ledger refused it: %v", who, n.out))
		case o.refused != nil && o.refused.Outcome.GetTimeUnixMs() > 0 && n != nil && n.out.GetAccepted():
			bad = append(bad, fmt.Sprintf("CHANGED: %s was told that the ledger refused it, and it has %v", who, n.out))
		}
	}
	return bad
}
