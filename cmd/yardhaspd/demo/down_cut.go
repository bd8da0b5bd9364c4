package demo

import (
	"context"
	"slices"
	"strings"
	"time"

	"yardhasp/client"
	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// board reads a board as somebody. Over a dead link an answer may never come, so the
// time is limited. A third of it is for the first yard, which waits 2 s for a quorum.
func (s *story) board(c *client.Client, how servicev1.Consistency) (*recordv1.Board, error) {
	ctx, cancel := context.WithTimeout(s.ctx, 9*time.Second)
	defer cancel()
	return c.Board(ctx, how, "")
}

// linkFails cuts the yard off, and shows how each side notices.
func linkFails(s *story) {
	s.page.heading("The link of Millrow goes down",
		"Two of three yards are enough to go on. The third can't decide anything for the co-op; it can still write down.")
	if s.err != nil || !s.must(s.fleet.net.cut(cutYard), "cut the link of "+cutYard) {
		return
	}
	var b, alone *recordv1.Board
	s.until("a confirmed board without "+cutYard, func() (ok bool) {
		var err error
		b, err = s.board(s.who["mara"], servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil && unheard(b.GetAsOf(), cutYard)
	})
	s.until(cutYard+" says that it is cut off", func() (ok bool) {
		var err error
		alone, err = s.board(s.eyes[cutYard], servicev1.Consistency_CONSISTENCY_UNSPECIFIED)
		return err == nil && !alone.GetAsOf().GetConfirmed()
	})
	if s.err != nil {
		return
	}
	s.page.act(b.GetAsOf().GetYard(), "mara", "read the board", "of "+entry(b.GetAsOf().GetSize()-1), known(b.GetAsOf()))
	s.page.asOf(b.GetAsOf())
	s.sinceWhen(b.GetAsOf())
	s.page.act(alone.GetAsOf().GetYard(), "nia-okoro", "read the board at Millrow itself", "of "+entry(alone.GetAsOf().GetSize()-1), known(alone.GetAsOf()))
	s.page.asOf(alone.GetAsOf())
	s.expect(alone.GetAsOf().GetYard() == cutYard, "%s answered for %s", alone.GetAsOf().GetYard(), cutYard)
	s.expect(alone.GetAsOf().GetBecause() != nil, "an unconfirmed board does not say why")
}

// sinceWhen checks that a board says since when the yard has not been heard.
func (s *story) sinceWhen(a *recordv1.AsOf) {
	for _, y := range a.GetYards() {
		if y.GetYard() == cutYard {
			ago := time.Since(time.UnixMilli(y.GetLastHeardUnixMs()))
			s.expect(!y.GetHeard() && ago > 0 && ago < enough, "%s heard: %v, last %v ago", cutYard, y.GetHeard(), ago)
		} else {
			s.expect(y.GetHeard(), "%s is not heard either", y.GetYard())
		}
	}
}

// lockCutOff has Tomas lock a point of his yard, and a point of another yard.
func lockCutOff(s *story) {
	s.page.heading("At Millrow, cut off, Tomas hangs his lock",
		"Grain hangs over the pan and he goes to free it. It is Millrow's own point: nobody can start it but through Millrow.")
	own := s.tomasLocks(ownPoint)
	s.page.say("Stonebend's pan would not be his to promise. He locks it as well, and is told the truth:")
	far := s.lock(farPoint, servicev1.Status_STATUS_UNCONFIRMED)
	s.expect(strings.Contains(words.English.Says(far.GetMeans()), "NOT A PROMISE"), "a lock on another yard's point says %q", words.English.Says(far.GetMeans()))
	s.expect(own.GetYard() == cutYard && far.GetYard() == cutYard, "%s and %s wrote the locks", own.GetYard(), far.GetYard())
	s.notAtPanel(ownPoint)
}

// tomasLocks has Tomas hang a lock that is promised at once.
func (s *story) tomasLocks(point string) *servicev1.Receipt {
	r := s.lock(point, servicev1.Status_STATUS_HELD_LOCALLY)
	s.expect(slices.Equal(r.GetPromised(), []string{point}), "the lock on %s promises %v", point, r.GetPromised())
	return r
}

// lock has Tomas lock a point, and shows everything that he is told.
func (s *story) lock(point string, want servicev1.Status) *servicev1.Receipt {
	rec := actLockPoint(point, "3805", jobID)
	r := s.do("tomas", "locked "+point, want, rec)
	if s.err != nil {
		return nil
	}
	s.told(r)
	s.locks = append(s.locks, cutLock{point, r.GetRef(), rec.GetTicket()})
	return r
}

// told shows the words of a receipt and what it promises.
func (s *story) told(r *servicev1.Receipt) {
	s.page.say("| %s: %s", statusWord(r.GetStatus()), words.English.Says(r.GetMeans()))
	if r.GetStatus() == servicev1.Status_STATUS_HELD_LOCALLY || r.GetStatus() == servicev1.Status_STATUS_CONFIRMED {
		s.page.say("| promised: %s", orElse(strings.Join(r.GetPromised(), ", "), "nothing"))
	}
}

// notAtPanel checks that the panel of the cut-off yard knows about the lock.
func (s *story) notAtPanel(point string) {
	if s.err != nil {
		return
	}
	v, err := s.who["tomas"].Panel(s.ctx, point)
	if s.must(err, "read the panel of "+point) {
		s.page.act(cutYard, "tomas", "read the panel of "+point, "", "NO START")
		for _, why := range words.English.List(v.GetAgainst()) {
			s.page.say("| %s", why)
		}
		s.expect(!v.GetGoAhead() && len(v.GetAgainst()) > 0, "the panel of %s: %v", point, v)
	}
}

// cutLock is a lock that Tomas hung while cut off.
type cutLock struct {
	point, ref string
	ticket     *recordv1.Ticket
}

// startAsked asks for a start that involves the cut-off yard. The start waits.
func startAsked(s *story) {
	s.page.heading("At Stonebend Ravi asks to start the leg",
		"No lock is on the board, and Tomas is in the machine. What the board can't know, it must not allow.")
	r := s.done("ravi", "asked to re-energise all four points (start-1)", s.request("start-1"))
	q := &recordv1.RequestView{}
	s.until("stonebend confirms start-1", func() bool {
		q = s.requestOn("mara", "start-1")
		return slices.Contains(q.GetConfirmed(), "stonebend")
	})
	if s.err != nil {
		return
	}
	s.expect(r.GetOutcome().GetAccepted(), "start-1 was not taken")
	s.waits(q)
	s.refused("ravi", "asked at the panel for "+farPoint+" all the same", []code.Code{ledger.NotApproved}, actEnergise("start-1", farPoint))
}

// requestOn is a request as somebody's confirmed board shows it.
func (s *story) requestOn(who, id string) *recordv1.RequestView {
	b, err := s.board(s.who[who], servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil {
		return nil
	}
	i := slices.IndexFunc(b.GetRequests(), func(q *recordv1.RequestView) bool { return q.GetId() == id })
	if i < 0 {
		return nil
	}
	return b.GetRequests()[i]
}

// waits shows that start-1 waits for the cut-off yard, and for no other.
func (s *story) waits(q *recordv1.RequestView) {
	var missing []string
	for _, y := range q.GetInvolved() {
		if !slices.Contains(q.GetConfirmed(), y) {
			missing = append(missing, y)
		}
	}
	s.page.say("| start-1 is AWAITING; confirmed by %s; not yet by %s", strings.Join(q.GetConfirmed(), ", "), strings.Join(missing, ", "))
	s.expect(q.GetState() == recordv1.RequestState_REQUEST_STATE_AWAITING && slices.Equal(missing, []string{cutYard}), "start-1 is %s, not confirmed by %v", q.GetState(), missing)
}
