package record

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Filter picks entries. An empty field picks everything. All given fields must hold.
type Filter struct {
	// At is a yard. It picks an entry about its points, boxes or zones, or about a job
	// there. An entry that is about no place is picked if it was written in the yard's
	// journal.
	At string `json:"at,omitempty"`
	// Person is the signer, somebody named in the entry, or the holder of its lock.
	Person string `json:"person,omitempty"`
	Job    string `json:"job,omitempty"`
	// Point is a point or a box.
	Point string `json:"point,omitempty"`
	// Lock is the journal reference of a lock, or a padlock's serial.
	Lock string `json:"lock,omitempty"`
	// State is accepted, refused or flagged.
	State string `json:"state,omitempty"`
	// Since and Until are ledger times in Unix ms: from Since, and before Until.
	Since int64 `json:"since_unix_ms,string,omitempty"`
	Until int64 `json:"until_unix_ms,string,omitempty"`
}

// States are the words of Filter.State.
var States = []string{"accepted", "refused", "flagged"}

// Match reports whether an entry is picked.
func (f Filter) Match(e *Event) bool {
	in := func(list []string, v string) bool { return v == "" || slices.Contains(list, v) }
	switch {
	case f.State == "flagged" && len(e.Flags) == 0, f.State != "" && f.State != "flagged" && f.State != e.State():
		return false
	case f.Since != 0 && e.TimeUnixMs < f.Since, f.Until != 0 && e.TimeUnixMs >= f.Until:
		return false
	}
	return in(e.Yards, f.At) && in(e.People, f.Person) && in(e.Jobs, f.Job) && in(e.Points, f.Point) && in(e.Locks, f.Lock)
}

// String says in words what the filter picks.
func (f Filter) String() string {
	var out []string
	for _, w := range [][2]string{{"yard", f.At}, {"person", f.Person}, {"job", f.Job}, {"point", f.Point}, {"lock", f.Lock}, {"state", f.State}} {
		if w[1] != "" {
			out = append(out, w[0]+" "+w[1])
		}
	}
	if f.Since != 0 {
		out = append(out, "since "+stamp(f.Since))
	}
	if f.Until != 0 {
		out = append(out, "before "+stamp(f.Until))
	}
	if len(out) == 0 {
		return "everything"
	}
	return fmt.Sprintf("only %s", strings.Join(out, ", "))
}

// stamp is a time as RFC 3339 in UTC. It is "-" for none.
func stamp(ms int64) string {
	if ms == 0 {
		return "-"
	}
	return time.UnixMilli(ms).UTC().Format(time.RFC3339)
}
