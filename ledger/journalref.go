package ledger

import (
	"strconv"
	"strings"
)

// refText reports whether a text names a journal record as Ref writes it.
func refText(t string) bool {
	_, _, _, ok := parseRef(t)
	return ok
}

func parseRef(t string) (yard string, epoch, seq uint64, ok bool) {
	parts := strings.Split(t, "/")
	if len(parts) != 3 || !Name(parts[0]) {
		return "", 0, 0, false
	}
	epoch, e1 := strconv.ParseUint(parts[1], 10, 64)
	seq, e2 := strconv.ParseUint(parts[2], 10, 64)
	return parts[0], epoch, seq, e1 == nil && e2 == nil && epoch > 0 && seq > 0 && Ref(parts[0], epoch, seq) == t
}

// mayArrive reports whether the journal record that a text names may still arrive: its
// number is ahead of what the ledger has of that yard.
func (s *State) mayArrive(ref string) bool {
	yard, epoch, seq, ok := parseRef(ref)
	y := s.Yards[yard]
	return ok && y != nil && epoch == y.Epoch && seq > y.Drained
}
