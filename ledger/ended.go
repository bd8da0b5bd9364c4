package ledger

import "slices"

// end queues something finished for removal. It leaves the state at a fixed ledger
// distance (decisions.md 24).
func (s *State) end(kind, key string) {
	s.Ended = append(s.Ended, ending{Index: s.Tree.Size, Kind: kind, Key: key})
}

// prune removes what ended long enough ago.
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
				s.end("job", e.Key) // a person may still be inside for this job
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
