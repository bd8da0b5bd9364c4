package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// alarm: to go, see raise.
func (s *State) alarm(code, subject, text string, at Mark) {
	i := slices.IndexFunc(s.Alarms, func(a Alarm) bool { return a.Code == code && a.Subject == subject })
	if i >= 0 {
		s.Alarms[i].Text = text
		return
	}
	s.Alarms = append(s.Alarms, Alarm{Code: code, Subject: subject, Text: text, At: at})
}

// clearAlarm: to go, see lower.
func (s *State) clearAlarm(code, subject string) {
	s.Alarms = slices.DeleteFunc(s.Alarms, func(a Alarm) bool { return a.Code == code && a.Subject == subject })
}

// appendTo: to go, with the texts.
func (a Alarm) appendTo(texts []string, fs []*recordv1.Finding) ([]string, []*recordv1.Finding) {
	if a.Finding != nil {
		return texts, append(fs, a.Finding)
	}
	return append(texts, a.Text), fs
}
