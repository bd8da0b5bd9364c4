package demo

import (
	"slices"

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

const liftStart = "start-lift"

// otherJob shows that a job without the cut-off yard goes on.
func otherJob(s *story) {
	s.page.heading("Eastfork's own job goes on",
		"A link that is down must not stop work that has nothing to do with it, or people learn to go round the ledger.")
	s.done("iris", "asked to re-energise the truck lift ("+liftStart+")", ask(liftStart, liftJob, s.liftPlan))
	q := &recordv1.RequestView{}
	s.until(liftStart+" is approved", func() bool {
		q = s.requestOn("iris", liftStart)
		return q.GetState() == recordv1.RequestState_REQUEST_STATE_APPROVED || q != nil && !slices.Equal(q.GetInvolved(), []string{"eastfork"})
	})
	if s.err != nil {
		return
	}
	s.expect(slices.Equal(q.GetInvolved(), []string{"eastfork"}), "%s involves %v", liftStart, q.GetInvolved())
	s.page.permission("%s approved: only Eastfork is involved and it does not object; any new lock cancels this; not permission to close", liftStart)
	for _, p := range s.liftPlan {
		s.done("iris", "asked at the panel for "+p, actEnergise(liftStart, p))
		if s.err != nil {
			return
		}
		v, err := s.who["iris"].Panel(s.ctx, p)
		s.must(err, "read the panel of "+p)
		s.expect(v.GetGoAhead() && v.GetCaution() == ledger.Caution, "the panel of %s shows no go-ahead, or no caution: %v", p, v.GetAgainst())
		s.page.permission("panel of %s: %s", p, words.English.Says(v.GetMeans()))
		s.done("iris", "closed "+p, actClosed(p))
	}
	s.done("iris", "closed job "+liftJob, &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: liftJob}}})
	s.page.say("Meanwhile the leg:")
	s.waits(s.requestOn("mara", "start-1"))
}

// powerFails kills the replica of the cut-off yard, and starts it while still cut off.
func powerFails(s *story) {
	s.page.heading("The power fails at Millrow, and comes back",
		"A promise that dies with a box would be none: it is on Millrow's disk before Tomas reads it.")
	if s.err != nil {
		return
	}
	s.page.say("Millrow's process is killed (SIGKILL) and started again. Its link is still down.")
	if !s.must(s.fleet.kill(cutYard), "kill "+cutYard) || !s.must(s.fleet.start(s.ctx, s.fleet.by[cutYard]), "start "+cutYard+" again") {
		return
	}
	r := s.ticket(s.locks[0])
	s.expect(r.GetStatus() == servicev1.Status_STATUS_HELD_LOCALLY && slices.Equal(r.GetPromised(), []string{ownPoint}), "after the power came back the lock is %s, promising %v", r.GetStatus(), r.GetPromised())
	s.page.act(cutYard, "tomas", "asked what his lock on "+ownPoint+" is worth", "no entry", statusWord(r.GetStatus()))
	s.page.say("| promised: %s", ownPoint)
	s.tomasLocks(ownSecond)
}

// ticket asks the cut-off yard what became of a lock.
func (s *story) ticket(l cutLock) *servicev1.Receipt {
	if s.err != nil {
		return nil
	}
	r, err := s.who["tomas"].Receipt(s.ctx, l.ticket.GetDevice(), l.ticket.GetCounter(), cutYard)
	s.must(err, "ask for the lock on "+l.point)
	s.expect(r.GetRef() == l.ref, "the lock on %s was %s and is %s", l.point, l.ref, r.GetRef())
	return r
}
