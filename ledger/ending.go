package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// alarm adds what everybody must see. One of the same code and subject is not
// added twice: it takes the newer text.
func (s *State) alarm(code, subject, text string, at Mark) {
	i := slices.IndexFunc(s.Alarms, func(a Alarm) bool { return a.Code == code && a.Subject == subject })
	if i >= 0 {
		s.Alarms[i].Text = text
		return
	}
	s.Alarms = append(s.Alarms, Alarm{Code: code, Subject: subject, Text: text, At: at})
}

func (s *State) clearAlarm(code, subject string) {
	s.Alarms = slices.DeleteFunc(s.Alarms, func(a Alarm) bool { return a.Code == code && a.Subject == subject })
}

// end queues something finished for removal at a fixed ledger distance
// (decisions.md 24).
func (s *State) end(kind, key string) {
	s.Ended = append(s.Ended, ending{Index: s.Tree.Size, Kind: kind, Key: key})
}

func (s *State) prune() {
	for len(s.Ended) > 0 && s.Ended[0].Index+keepEnded < s.Tree.Size {
		switch e := s.Ended[0]; e.Kind {
		case "hold":
			delete(s.Holds, e.Key)
		case "sign_on":
			delete(s.SignOns, e.Key)
		case "request":
			delete(s.Reqs, e.Key)
		case "job":
			if len(s.atWork(s.Jobs[e.Key], nil)) > 0 {
				s.end("job", e.Key) // somebody's whereabouts hang on it
			} else {
				delete(s.Jobs, e.Key)
				delete(s.Air, e.Key)
			}
		case "permit":
			delete(s.WorkPermits, e.Key)
		case "watch":
			delete(s.Watches, e.Key)
		case "invite":
			delete(s.Invites, e.Key)
		}
		s.Ended = slices.Delete(s.Ended, 0, 1)
	}
}

// appendTo: to go, with the texts.
func (a Alarm) appendTo(texts []string, fs []*recordv1.Finding) ([]string, []*recordv1.Finding) {
	if a.Finding != nil {
		return texts, append(fs, a.Finding)
	}
	return append(texts, a.Text), fs
}
