package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// deny adds one condition that is not met, so the record is refused.
func (x *step) deny(c code.Code, subject string, args ...any) {
	x.out.Conditions = append(x.out.Conditions, c.About(subject, args...))
}

// note adds a rule that the recorded fact breaks. The record still stands.
func (x *step) note(c code.Code, subject string, args ...any) {
	x.out.Flags = append(x.out.Flags, c.About(subject, args...))
}

// did says what the record changed.
func (x *step) did(c code.Code, subject string, args ...any) {
	x.out.Did = append(x.out.Did, c.About(subject, args...))
}

// raise adds an alarm that everybody must see. An alarm with the same code about the
// same thing is not added twice: it takes the newer arguments. about is what lower must
// name to end it, often the reference of the record that raised it.
func (s *State) raise(about string, f *recordv1.Finding, at Mark) {
	i := slices.IndexFunc(s.Alarms, func(a Alarm) bool { return a.Code == f.GetCode() && a.Subject == about })
	if i >= 0 {
		s.Alarms[i].Finding = f
		return
	}
	s.Alarms = append(s.Alarms, Alarm{Code: f.GetCode(), Subject: about, Finding: f, At: at})
}

// lower ends an alarm.
func (s *State) lower(c code.Code, about string) {
	s.Alarms = slices.DeleteFunc(s.Alarms, func(a Alarm) bool { return a.Code == string(c) && a.Subject == about })
}
