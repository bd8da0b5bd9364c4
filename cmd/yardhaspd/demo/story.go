package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"yardhasp/client"
	"yardhasp/client/words"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// patience is how long the demo waits for what the yards do by themselves.
const patience = 30 * time.Second

// story is what the chapters share. Its first error stays in err. After it every step
// does nothing.
type story struct {
	ctx    context.Context
	cancel context.CancelFunc
	page   *page
	fleet  *fleet
	dir    string
	err    error
	// steps counts the checks, refusals the entries that the ledger refused.
	steps, refusals int

	ledger []byte
	who    map[string]*client.Client // by person
	eyes   map[string]*client.Client // nia's clients; each asks its own yard first
	plan   *servicev1.PlanResponse
	opened time.Time // when the last point was opened

	liftPlan []string  // for the job at the third yard
	locks    []cutLock // hung while cut off

	holds, ons map[string]string // by person: the lock's and the sign-on's reference
	ops        map[string]string // by point: its operations lock

	mu    sync.Mutex
	heard []*recordv1.Outcome // every entry in the order of its arrival
	moved chan struct{}       // closed when heard grows
}

func newStory(ctx context.Context, out io.Writer, f *fleet, dir string) *story {
	s := &story{page: &page{w: out}, fleet: f, dir: dir, who: map[string]*client.Client{}, eyes: map[string]*client.Client{},
		holds: map[string]string{}, ons: map[string]string{}, ops: map[string]string{}, moved: make(chan struct{})}
	s.ctx, s.cancel = context.WithCancel(ctx)
	return s
}

func (s *story) close() {
	s.cancel()
	for _, c := range s.who {
		_ = c.Close()
	}
	for _, c := range s.eyes {
		_ = c.Close()
	}
}

// fail keeps an error, if it is the first.
func (s *story) fail(format string, a ...any) {
	if s.err == nil {
		s.err = fmt.Errorf(format, a...)
	}
}

// must keeps the error of a step that should have worked.
func (s *story) must(err error, what string) bool {
	if err != nil {
		s.fail("%s: %w", what, err)
	}
	return s.err == nil
}

// expect counts and checks one condition.
func (s *story) expect(ok bool, format string, a ...any) {
	s.steps++
	if !ok {
		s.fail("not as it must be: "+format, a...)
	}
}

// do has somebody record something. It must be taken with the wanted status.
func (s *story) do(who, what string, want servicev1.Status, rec *recordv1.Record) *servicev1.Receipt {
	if s.err != nil {
		return nil
	}
	r, err := s.who[who].Submit(s.ctx, rec)
	if !s.must(err, who+" "+what) {
		return nil
	}
	where := "no entry"
	if r.GetOutcome() != nil {
		where = entry(r.GetOutcome().GetIndex())
	}
	s.page.act(r.GetYard(), who, what, where, statusWord(r.GetStatus()))
	for _, f := range r.GetOutcome().GetFlags() {
		s.page.say("  flagged: %s%s", words.English.Says(f), after(", ", words.English.Clause(f)))
	}
	s.expect(r.GetStatus() == want, "%s %s: status %s, want %s", who, what, statusWord(r.GetStatus()), statusWord(want))
	return r
}

// done is do for a record that must be CONFIRMED and break no rule.
func (s *story) done(who, what string, rec *recordv1.Record) *servicev1.Receipt {
	r := s.do(who, what, servicev1.Status_STATUS_CONFIRMED, rec)
	s.expect(len(r.GetOutcome().GetFlags()) == 0, "%s %s: flagged %v", who, what, r.GetOutcome().GetFlags())
	return r
}

// flagged has somebody record something against these rules. It is taken, and the
// answer names the rules.
func (s *story) flagged(who, what string, codes []code.Code, rec *recordv1.Record) *servicev1.Receipt {
	r := s.do(who, what, servicev1.Status_STATUS_CONFIRMED, rec)
	var got []code.Code
	for _, f := range r.GetOutcome().GetFlags() {
		got = append(got, code.Of(f))
	}
	s.expect(slices.Equal(got, codes), "%s %s: flagged %v, want %v", who, what, got, codes)
	return r
}

// refused has somebody ask for something. It must be refused with exactly these
// conditions.
func (s *story) refused(who, what string, codes []code.Code, rec *recordv1.Record) []*recordv1.Finding {
	if s.err != nil {
		return nil
	}
	r, err := s.who[who].Submit(s.ctx, rec)
	var no *client.Refused
	if !errors.As(err, &no) {
		s.fail("%s %s: it should have been refused, and got %v %v", who, what, r.GetStatus(), err)
		return nil
	}
	where := "no entry"
	if no.Outcome.GetTimeUnixMs() > 0 { // refused by the ledger itself
		where = entry(no.Outcome.GetIndex())
		s.refusals++
	}
	s.page.act(s.who[who].Profile().Yard, who, what, where, statusWord(servicev1.Status_STATUS_REFUSED))
	s.page.conditions(no.Outcome.GetConditions())
	for _, c := range no.Outcome.GetConditions() {
		s.expect(words.English.Says(c) != c.GetCode() && words.English.Remedy(c) != "", "condition %s says neither what is wrong nor what would help", c.GetCode())
	}
	s.expect(codesOf(no.Outcome.GetConditions(), codes...), "%s %s: refused with %v, want %v", who, what, codeList(no.Outcome.GetConditions()), codes)
	return no.Outcome.GetConditions()
}

// job is a confirmed reading of the job, as somebody.
func (s *story) job(who string) *recordv1.JobView {
	if s.err != nil {
		return nil
	}
	j, err := s.who[who].Job(s.ctx, jobID, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	s.must(err, who+" reads the job")
	return j
}

// caughtUp returns when every yard has seen everything so far. An act counts as later
// than another only if its yard knew of that other act.
func (s *story) caughtUp() {
	for y, c := range s.eyes {
		if s.err != nil {
			return
		}
		b, err := c.Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		s.must(err, "read the board at "+y)
		s.expect(b.GetAsOf().GetYard() == y, "asked %s for its board, %s answered", y, b.GetAsOf().GetYard())
	}
}

// until waits for something that the yards do on their own.
func (s *story) until(what string, ok func() bool) {
	tick, late := time.NewTicker(50*time.Millisecond), time.NewTimer(patience)
	defer tick.Stop()
	defer late.Stop()
	for s.err == nil && !ok() {
		select {
		case <-tick.C:
		case <-late.C:
			s.fail("it never came: %s", what)
		case <-s.ctx.Done():
			s.fail("%s: %w", what, context.Cause(s.ctx))
		}
	}
	s.steps++
}

// listen follows the ledger from its first entry on.
func (s *story) listen(c *client.Client) {
	go func() {
		_ = c.Watch(s.ctx, 0, func(o *recordv1.Outcome) error {
			s.mu.Lock()
			defer s.mu.Unlock()
			s.heard = append(s.heard, o)
			close(s.moved)
			s.moved = make(chan struct{})
			return nil
		}, nil)
	}()
}

// entryOf waits for the first entry at or after an index that fits.
func (s *story) entryOf(what string, from uint64, fits func(*recordv1.Outcome) bool) *recordv1.Outcome {
	late := time.NewTimer(patience)
	defer late.Stop()
	for s.err == nil {
		s.mu.Lock()
		moved := s.moved
		for _, o := range s.heard {
			if o.GetIndex() >= from && fits(o) {
				s.mu.Unlock()
				s.steps++
				return o
			}
		}
		s.mu.Unlock()
		select {
		case <-moved:
		case <-late.C:
			s.fail("no entry came: %s", what)
		case <-s.ctx.Done():
			s.fail("%s: %w", what, context.Cause(s.ctx))
		}
	}
	return nil
}

// size is the number of entries heard so far.
func (s *story) size() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return uint64(len(s.heard))
}
