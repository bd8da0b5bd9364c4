package demo

import (
	"fmt"
	"slices"
	"strings"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// linkBack shows that the cut-off yard's records come to the ledger in order, and each
// once. They void the start that waited.
func linkBack(s *story) {
	s.page.heading("The link comes back",
		"Millrow sends what it wrote down, in the order it was written. The first lock that it brings cancels the start.")
	if s.err != nil {
		return
	}
	from := s.size()
	if !s.must(s.fleet.net.mend(cutYard), "mend the link of "+cutYard) {
		return
	}
	var last uint64
	for _, l := range s.locks {
		o := s.entryOf("the lock on "+l.point, from, func(o *recordv1.Outcome) bool { return o.GetRef() == l.ref && o.GetAccepted() })
		s.page.act(cutYard, "tomas", "the lock on "+l.point+" arrived", entry(o.GetIndex()), "CONFIRMED")
		s.expect(o.GetIndex() > last, "the lock on %s came out of order", l.point)
		last = o.GetIndex()
		for _, c := range o.GetDid() {
			if slices.Contains(code.Names(c, "request"), "start-1") {
				s.page.say("| %s", words.English.Says(c))
			}
		}
	}
	s.sameRoot(cutYard)
	s.caughtUp()
	s.inOrderOnce()
	for _, l := range s.locks {
		r := s.ticket(l)
		s.expect(r.GetStatus() == servicev1.Status_STATUS_CONFIRMED && slices.Equal(r.GetPromised(), []string{l.point}), "with the link back the lock on %s is %s", l.point, statusWord(r.GetStatus()))
	}
	s.page.say("tomas is told that all three are CONFIRMED; the one on Stonebend's pan only now promises anything")
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		s.seesVoid(y)
	}
}

// inOrderOnce checks that each record of the cut-off yard's journal came in order, and
// took effect once.
func (s *story) inOrderOnce() {
	s.mu.Lock()
	defer s.mu.Unlock()
	next := 1
	for _, o := range s.heard {
		// A record that came twice is refused the second time, and changes nothing.
		if !strings.HasPrefix(o.GetRef(), cutYard+"/1/") || codesOf(o.GetConditions(), ledger.InLedger) {
			continue
		}
		s.expect(o.GetRef() == fmt.Sprintf("%s/1/%d", cutYard, next), "entry %d is %s, the next of the journal is %d", o.GetIndex(), o.GetRef(), next)
		next++
	}
	s.page.say("in the ledger are Millrow's records 1 to %d: each once, none out of order, none missing", next-1)
	s.expect(next > len(s.locks), "only %d records of %s", next-1, cutYard)
}

// seesVoid checks that a yard's own board shows the request as void.
func (s *story) seesVoid(yard string) {
	if s.err != nil {
		return
	}
	c := s.eyes[yard]
	b, err := s.board(c, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	s.must(err, "read the board at "+yard)
	j, err := c.Job(s.ctx, jobID, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if !s.must(err, "read job "+jobID+" at "+yard) {
		return
	}
	q := &recordv1.RequestView{}
	for _, r := range j.GetRequests() {
		if r.GetId() == "start-1" {
			q = r
		}
	}
	s.page.act(b.GetAsOf().GetYard(), "nia-okoro", fmt.Sprintf("read the board and the job: start-1 is %s, tomas holds %d locks", stateWord(q.GetState()), len(b.GetHolds())), "of "+entry(b.GetAsOf().GetSize()-1), known(b.GetAsOf()))
	s.expect(b.GetAsOf().GetYard() == yard && j.GetAsOf().GetYard() == yard, "asked %s, and %s answered", yard, b.GetAsOf().GetYard())
	s.expect(q.GetState() == recordv1.RequestState_REQUEST_STATE_VOID && len(b.GetHolds()) == len(s.locks), "at %s start-1 is %s with %d locks", yard, q.GetState(), len(b.GetHolds()))
	for _, h := range b.GetHolds() {
		s.expect(h.GetHolder() == "tomas", "%s holds %s", h.GetHolder(), h.GetTarget())
	}
}

func stateWord(q recordv1.RequestState) string {
	return strings.TrimPrefix(q.String(), "REQUEST_STATE_")
}

// startRefused asks again for the start. The refusal names who is in the machine.
func startRefused(s *story) {
	s.page.heading("Ravi asks again, and is told who is in the machine",
		"Had the start been granted while Millrow was silent, the leg could have started with Tomas under the pan.")
	no := s.refused("ravi", "asked to re-energise all four points (start-2)", []code.Code{ledger.HoldStands, ledger.NotClear, ledger.NotToldAfter, ledger.ReachesPeople}, s.request("start-2"))
	for _, c := range no {
		if code.Is(c, ledger.HoldStands) {
			s.expect(slices.Equal(code.Names(c, "holder"), []string{"tomas"}), "the refusal names %q as holder, not tomas", code.Names(c, "holder"))
		}
	}
}
