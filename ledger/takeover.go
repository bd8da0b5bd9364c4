package ledger

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// takeOver makes the signer a job's responsible employee, with nobody responsible
// for it at no moment: they are trained and have their own lock on every point of
// the plan, and the one until now signs, or a supervisor or manager in their place.
func (x *step) takeOver(t *recordv1.TakeOver) {
	s := x.s
	j := s.Jobs[t.GetJob()]
	if j == nil || j.Closed.Set() {
		x.refuse("UNKNOWN_JOB", t.GetJob(), "there is no open job of this name", "read its name on the board again", x.who.ID, handOverClause)
		return
	}
	switch from := s.People[t.GetFrom()]; {
	case j.Responsible == x.who.ID:
		x.refuse("EXISTS", j.ID, x.who.ID+" is responsible for "+j.ID+" already", "", "", handOverClause)
	case t.GetFrom() != j.Responsible && !from.Has(supervisor, manager):
		x.refuse("NOT_PERMITTED", from.ID, fmt.Sprintf("%s is neither responsible for %s nor a supervisor or manager", from.ID, j.ID), j.Responsible+" signs, or a supervisor or manager", j.Responsible, handOverClause)
	case x.oneHand(t.GetFrom()):
		x.refuse("ONE_HAND", from.ID, fmt.Sprintf("one of %s and %s gave the other their key: it could be one hand with two keys", x.who.ID, from.ID), "a supervisor or manager signs", "supervisor or manager", handOverClause)
	}
	if !x.who.trained(s.Time) {
		x.refuse("TRAINING_LAPSED", x.who.ID, x.who.ID+" has no current training as an authorised employee", "train them and record it", "supervisor or manager", "1910.147(c)(7)(i) (unchecked)")
	}
	if open := s.unlocked(j, x.who.ID); len(open) > 0 {
		x.refuse("NO_LOCK", j.ID, x.who.ID+" has no lock on "+strings.Join(open, ", "), x.who.ID+" hangs their own lock first, there or on a box that holds its key", x.who.ID, handOverClause)
	}
	if x.refused() {
		return
	}
	was := j.Responsible
	j.Responsible = x.who.ID
	s.use(j.Zone, j.Responsible, x.mark)
	x.change("%s is responsible for %s in place of %s", x.who.ID, j.ID, was)
}
