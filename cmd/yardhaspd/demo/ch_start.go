package demo

import (
	"slices"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const startID = "start-3"

// approve asks once more. Each yard concerned then confirms by itself.
func approve(s *story) {
	s.page.heading("Each yard concerned confirms",
		"A yard confirms only when nothing it has written down stands against the start, sent or not. Then it promises no more locks there.")
	s.caughtUp()
	from := s.size()
	r := s.done("ravi", "asked to re-energise all four points ("+startID+")", s.request(startID))
	s.panelsClosed("before it is granted")
	fenced := map[string]bool{}
	want := []string{"millrow", "stonebend"}
	for _, y := range want {
		o := s.entryOf(y+" confirms", from, func(o *recordv1.Outcome) bool {
			return o.GetKind() == "fence" && o.GetSigner() == y
		})
		s.page.act(y, y, "confirmed "+startID, entry(o.GetIndex()), "CONFIRMED")
		s.expect(o.GetAccepted() && o.GetIndex() > r.GetOutcome().GetIndex(), "%s confirmed: %v", y, o.GetConditions())
		fenced[y] = o.GetAccepted()
	}
	o := s.entryOf("the approval", from, func(o *recordv1.Outcome) bool {
		return slices.ContainsFunc(o.GetDid(), func(f *recordv1.Finding) bool {
			return code.Is(f, ledger.RequestApproved) && slices.Contains(code.Names(f, "request"), startID)
		})
	})
	s.expect(len(fenced) == 2 && o.GetKind() == "fence", "the last confirmation approves, not %s", o.GetKind())
	j := s.job("ravi")
	q := &recordv1.RequestView{}
	for _, v := range j.GetRequests() {
		if v.GetId() == startID {
			q = v
		}
	}
	s.expect(j.GetStage() == recordv1.Stage_STAGE_APPROVED && q.GetState() == recordv1.RequestState_REQUEST_STATE_APPROVED, "stage %s, request %s", j.GetStage(), q.GetState())
	s.expect(slices.Equal(q.GetInvolved(), want) && slices.Equal(q.GetConfirmed(), want), "involved %v, confirmed %v, want %v", q.GetInvolved(), q.GetConfirmed(), want)
	s.expect(j.GetCaution() == ledger.Caution, "the approval comes without its caution")
	s.page.permission("%s approved at %s: nobody involved objects so far; any new lock cancels this; not permission to close", startID, entry(o.GetIndex()))
	s.panelsClosed("approved, and not asked for at the panel")
}

// panelsClosed checks that no panel shows a go-ahead.
func (s *story) panelsClosed(when string) {
	for _, p := range s.plan.GetPoints() {
		if s.err != nil {
			return
		}
		v, err := s.who[keeper(p)].Panel(s.ctx, p)
		s.must(err, "read the panel of "+p)
		s.expect(!v.GetGoAhead() && v.GetPosition() != recordv1.Position_POSITION_LIVE, "%s: the panel of %s shows a go-ahead or a closed switch", when, p)
	}
}

// energise closes each point at its own panel.
func energise(s *story) {
	s.page.heading("Each point is energised at its own panel",
		"The last word is given where the switch is, by that yard's own box, and only while it still holds.")
	for _, p := range s.plan.GetPoints() {
		who := keeper(p)
		s.done(who, "asked at the panel for "+p, actEnergise(startID, p))
		if s.err != nil {
			return
		}
		v, err := s.who[who].Panel(s.ctx, p)
		s.must(err, "read the panel of "+p)
		s.expect(v.GetGoAhead() && v.GetCaution() == ledger.Caution, "the panel of %s shows no go-ahead, or no caution: %v", p, v.GetAgainst())
		s.page.permission("panel of %s: %s", p, words.English.Says(v.GetMeans()))
		s.done(who, "closed "+p, actClosed(p))
	}
	s.done("ravi", "closed job "+jobID, &recordv1.Record{Act: &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: jobID}}})
	j := s.job("ravi")
	s.expect(j.GetStage() == recordv1.Stage_STAGE_CLOSED, "the job is %s", j.GetStage())
	for _, p := range j.GetPoints() {
		s.expect(p.GetPosition() == recordv1.Position_POSITION_LIVE && len(p.GetHolds()) == 0, "%s is %s", p.GetPoint(), p.GetPosition())
	}
}
