package faults_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// story is what happened in a scenario, in the order in which it did.
type story struct {
	mu    sync.Mutex
	began time.Time
	clock int64 // counts calls and answers: the real-time order of the history
	ops   []*op
	lines []string
}

func newStory() *story { return &story{} }

// tell adds a line.
func (s *story) tell(format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.line(format, args...)
}

func (s *story) line(format string, args ...any) {
	s.lines = append(s.lines, fmt.Sprintf("%8.3f s  ", time.Since(s.began).Seconds())+fmt.Sprintf(format, args...))
}

func (s *story) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.lines, "\n")
}

// begin notes that a person calls, finish what they were told.
func (s *story) begin(o *op) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.clock++
	o.call = s.clock
	s.ops = append(s.ops, o)
	s.line("%-16s %s ...", o.who, o.what)
}

// answered keeps what came back; others read it meanwhile.
func (s *story) answered(o *op, r *servicev1.Receipt, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	o.receipt = r
	errors.As(err, &o.refused)
}

func (s *story) finish(o *op, told string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.clock++
	o.ret, o.told = s.clock, told
	s.line("%-16s %s: %s", o.who, o.what, told)
}

// last is the latest act of that name by somebody.
func (s *story) last(who, what string) *op {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, o := range slices.Backward(s.ops) {
		if o.who == who && o.what == what {
			return o
		}
	}
	return nil
}

// amid reports whether a line with what comes after a fault and before the mending.
func (s *story) amid(what string) bool {
	fault := false
	for _, l := range s.lines {
		switch {
		case strings.Contains(l, "FAULT "):
			fault = true
		case strings.Contains(l, what):
			return fault
		case strings.Contains(l, "everything is mended"):
			return false
		}
	}
	return false
}
