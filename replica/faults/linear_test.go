package faults_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/anishathalye/porcupine"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// state is one point as a person would keep it in a notebook: live or open, and
// whose locks are on. It is a string so that it compares.
type state string

func newState(live bool, holds []string) state {
	slices.Sort(holds)
	return state(fmt.Sprintf("%v %s", live, strings.Join(holds, " ")))
}

func (s state) live() bool      { return strings.HasPrefix(string(s), "true") }
func (s state) holds() []string { return strings.Fields(string(s))[1:] }

// step is what one operation did to a point, or saw.
type step struct {
	kind  string // lock, release, clear, isolate, energise; board, guarded, may close
	hold  string // the ticket of the lock
	test  string // the test that its holder stands clear for, or that energises
	seen  state  // for a board
	about string // for a person who reads it
}

// clearFor joins a lock and the test that its holder stood clear for.
const clearFor = "~"

// onePoint is the model that real replicas must look like: as if every operation
// took place at one instant between its call and its answer.
var onePoint = porcupine.Model{
	Init: func() any { return newState(false, nil) },
	Step: func(s, in, _ any) (bool, any) { return in.(step).apply(s.(state)) },
	DescribeOperation: func(in, _ any) string {
		return in.(step).about
	},
	DescribeState: func(s any) string { return string(s.(state)) },
}

func (x step) apply(s state) (bool, any) {
	holds := s.holds()
	has := slices.Contains(holds, x.hold)
	of := func(h string) bool { return h == x.hold || strings.HasPrefix(h, x.hold+clearFor) }
	switch x.kind {
	case "lock":
		return !has, newState(s.live(), append(holds, x.hold))
	case "release":
		return slices.ContainsFunc(holds, of), newState(s.live(), slices.DeleteFunc(holds, of))
	case "clear": // from now on the lock protects nobody
		return slices.ContainsFunc(holds, of), newState(s.live(), append(slices.DeleteFunc(holds, of), x.hold+clearFor+x.test))
	case "register_point": // a new point counts as live
		return true, newState(true, holds)
	case "isolate":
		return true, newState(false, holds)
	case "closed all the same": // somebody opened it between the go-ahead and the closing
		return true, newState(true, holds)
	case "energise":
		clear := func(h string) bool { return x.test != "" && strings.HasSuffix(h, clearFor+x.test) }
		return !s.live() && len(slices.DeleteFunc(slices.Clone(holds), clear)) == 0, newState(true, holds)
	case "board":
		return x.seen == s, s
	case "guarded": // a confirmed lock on an open point
		return has && !s.live(), s
	case "may close": // a go-ahead at the panel
		return s.live(), s
	}
	return false, s
}

// histories makes one history of each point. What became of an operation whose
// answer got lost is read from the ledger: it took effect some time after its
// call, or never. The template's part of the ledger comes before all of them.
func histories(ops []*op, all []entry) map[string][]porcupine.Operation {
	x := indexOf(all)
	found := byTicket(all)
	for _, o := range ops {
		switch {
		case o.board != nil:
			x.addBoard(o)
		case o.panel.GetGoAhead():
			x.add(o, o.point, step{kind: "may close"}, true)
		case o.rec == nil:
		default:
			if n := found[o.ticket()]; n != nil && n.counted {
				x.addRecord(o, n)
			}
		}
	}
	return x.histories
}

// index is what the entries say of each lock and test, and the histories made with it.
type index struct {
	lockOf, pointOf map[string]string // by reference
	tests           map[string]bool
	histories       map[string][]porcupine.Operation
}

func indexOf(all []entry) *index {
	x := &index{lockOf: map[string]string{}, pointOf: map[string]string{}, tests: map[string]bool{}, histories: map[string][]porcupine.Operation{}}
	for i := range all {
		n := &all[i]
		if q := n.rec.GetRequest(); q.GetKind() == recordv1.RequestKind_REQUEST_KIND_TEST {
			x.tests[q.GetId()] = true
		}
		if !n.counted {
			continue
		}
		if l := n.rec.GetLock(); l != nil {
			x.lockOf[n.ref], x.pointOf[n.ref] = ticketName(n.rec.GetTicket()), l.GetTarget().GetPoint()
		}
		if l := n.rec.GetFoundLock(); l != nil {
			x.lockOf[n.ref], x.pointOf[n.ref] = ticketName(n.rec.GetTicket()), l.GetTarget().GetPoint()
		}
		r := n.rec.GetRecoverYard()
		for j, l := range r.GetLocks() {
			ref := walkedRef(r, j)
			x.lockOf[ref], x.pointOf[ref] = ref, l.GetTarget().GetPoint()
		}
	}
	return x
}

// walkedRef is the reference of a lock that a walkdown entered.
func walkedRef(r *recordv1.RecoverYard, i int) string {
	return ledger.Ref(r.GetYard(), r.GetEpoch(), ledger.WalkedSeq+uint64(i))
}

// add puts an operation into a point's history. One that was not answered may have
// taken effect at any time after its call.
func (x *index) add(o *op, point string, s step, answered bool) {
	s.about = o.who + " " + o.what
	ret := int64(math.MaxInt64)
	if answered {
		ret = o.ret
	}
	x.histories[point] = append(x.histories[point], porcupine.Operation{Input: s, Call: o.call, Return: ret})
}

// addBoard: a board says of each point whether it is live and what hangs on it. A lock
// on a box covers what is in it, and is left out: the walk follows boxes.
func (x *index) addBoard(o *op) {
	stood := map[string]string{}
	for _, h := range o.board.GetHolds() {
		if h.GetStoodClear() != "" {
			stood[h.GetRef()] = clearFor + h.GetStoodClear()
		}
	}
	for _, v := range o.board.GetPoints() {
		var holds []string
		for _, ref := range v.GetHolds() {
			switch {
			case x.lockOf[ref] == "":
				holds = append(holds, "unknown-"+ref)
			case x.pointOf[ref] != "":
				holds = append(holds, x.lockOf[ref]+stood[ref])
			}
		}
		x.add(o, v.GetPoint(), step{kind: "board", seen: newState(v.GetPosition() == recordv1.Position_POSITION_LIVE, holds)}, true)
	}
}

// addRecord adds what a record did that counts in the ledger as n.
func (x *index) addRecord(o *op, n *entry) {
	answered := o.receipt.GetOutcome() != nil
	switch o.kind {
	case "lock", "found_lock":
		x.addLock(o, answered)
	case "release":
		x.addEnd(o, ledger.RefOf(n.rec.GetRelease().GetHold()), answered)
	case "removal":
		x.addEnd(o, ledger.RefOf(o.rec.GetRemoval().GetHold()), answered)
	case "hand_over":
		for _, pair := range o.rec.GetHandOver().GetPairs() {
			x.addEnd(o, ledger.RefOf(pair.GetOff()), answered)
		}
	case "stand_clear":
		if ref := ledger.RefOf(o.rec.GetStandClear().GetHold()); x.pointOf[ref] != "" {
			x.add(o, x.pointOf[ref], step{kind: "clear", hold: x.lockOf[ref], test: o.rec.GetStandClear().GetRequest()}, answered)
		}
	case "recover_yard":
		r := o.rec.GetRecoverYard()
		for i, l := range r.GetLocks() {
			if p := l.GetTarget().GetPoint(); p != "" {
				x.add(o, p, step{kind: "lock", hold: walkedRef(r, i)}, answered)
			}
		}
	case "register_point":
		x.add(o, o.point, step{kind: o.kind}, answered)
	case "closed":
		if n.withoutGoAhead() {
			x.add(o, o.point, step{kind: "closed all the same"}, answered)
		}
	case "isolate", "energise":
		s := step{kind: o.kind}
		if id := o.rec.GetEnergise().GetRequest(); x.tests[id] {
			s.test = id
		}
		x.add(o, o.point, s, answered)
	}
}

// addLock adds a lock on a point, and what its receipt promises.
func (x *index) addLock(o *op, answered bool) {
	if o.point == "" {
		return // a box
	}
	hold := ticketName(o.rec.GetTicket())
	x.add(o, o.point, step{kind: "lock", hold: hold}, answered)
	if o.receipt.GetStatus() == servicev1.Status_STATUS_CONFIRMED && len(o.receipt.GetPromised()) > 0 {
		x.add(o, o.point, step{kind: "guarded", hold: hold}, true)
	}
}

// addEnd adds the end of a lock, unless that was on a box.
func (x *index) addEnd(o *op, ref string, answered bool) {
	if x.pointOf[ref] != "" {
		x.add(o, x.pointOf[ref], step{kind: "release", hold: x.lockOf[ref]}, answered)
	}
}

// linear checks that every point's history is linearizable. undecided counts the
// points for which the time was too short to tell.
func linear(ops []*op, all []entry, limit time.Duration) (bad []string, checked, undecided int) {
	for p, h := range histories(ops, all) {
		checked += len(h)
		switch res, info := porcupine.CheckOperationsVerbose(onePoint, h, limit); res {
		case porcupine.Illegal:
			bad = append(bad, fmt.Sprintf("NOT LINEARIZABLE: no order of the operations on %s explains the answers; the longest that does:%s", p, longest(info, h)))
		case porcupine.Unknown:
			undecided++
		}
	}
	slices.Sort(bad)
	return bad, checked, undecided
}

// longest tells the longest order that fits, and what was left over.
func longest(info porcupine.LinearizationInfo, h []porcupine.Operation) string {
	var best []porcupine.Operation
	for _, part := range info.PartialLinearizationsOperations() {
		for _, l := range part {
			if len(l) > len(best) {
				best = l
			}
		}
	}
	var b strings.Builder
	s := newState(false, nil)
	done := map[int64]bool{}
	for i, o := range best {
		x := o.Input.(step)
		_, next := x.apply(s)
		s = next.(state)
		done[o.Call] = true
		if i >= len(best)-6 {
			fmt.Fprintf(&b, "\n      %s (%s) -> %q", x.about, x.kind, s)
		}
	}
	for _, o := range h {
		if x := o.Input.(step); !done[o.Call] && o.Return != math.MaxInt64 {
			fmt.Fprintf(&b, "\n      does not fit: %s (%s) %q", x.about, x.kind, x.seen)
			break
		}
	}
	return b.String()
}
