package ledger

import (
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	UnknownHold = code.New("UNKNOWN_HOLD", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	// HoldEnded: how says by what it came off.
	HoldEnded = code.New("ENDED", code.Row{Args: "record target how:why at:time", Answer: code.Taken})

	// Why a lock stands against a start: each kind of lock has its own way off.
	HoldStands           = code.New("HOLD_STANDS", code.Row{Args: "holder target record", Clause: "1910.147(e)(3)", Who: "{holder}", Next: "yardhasp release {record}"})
	FoundLockStands      = code.New("FOUND_LOCK_STANDS", code.Row{Args: "target record", Clause: "1910.147(e)(3)", Who: "its-owner", Next: "yardhasp claim draft {record} --witness WITNESS"})
	EquipmentLockStands  = code.New("EQUIPMENT_LOCK_STANDS", code.Row{Args: "holder target record", Who: "supervisor-manager", Next: "yardhasp release {record} --why WHY"})
	StoodClearLockStands = code.New("STOOD_CLEAR_LOCK_STANDS", code.Row{Args: "holder target request record", Clause: testClause, Who: "{holder}", Next: "yardhasp release {record}"})

	// NoLock: a person who needs a lock of their own on a point has none there. Each
	// point has a finding of its own.
	NoLock = code.New("NO_LOCK", code.Row{Args: "person point job clause", Who: "{person}", Next: "yardhasp lock {point} --job {job} --padlock PADLOCK"})
)

// Hold is one lock on one point or box, for one job. Its id is its place in the
// journal that took it, never used again (protocol.md C7).
type Hold struct {
	Ref     string `json:"ref"`
	Holder  string `json:"holder,omitempty"` // empty: a found lock, owner unknown
	Point   string `json:"point,omitempty"`
	Box     string `json:"box,omitempty"`
	Padlock string `json:"padlock,omitempty"`
	Job     string `json:"job,omitempty"`
	Seen    string `json:"seen,omitempty"`
	On      Mark   `json:"on"`
	// Claimed is when the owner of a found lock was identified.
	Claimed Mark `json:"claimed"`
	// Since is the entry that a key must not be younger than to end it.
	Since uint64 `json:"since"`
	// Tried is when the handle was last tried against this lock.
	Tried Mark `json:"tried"`
	// Stood is the test or positioning its holder stood clear for, StoodFor the index
	// of that request's entry.
	Stood    string `json:"stood,omitempty"`
	StoodFor uint64 `json:"stood_for,omitempty"`
	// Off is when it ended; How says by what.
	Off   Mark                `json:"off"`
	How   *recordv1.Finding   `json:"how,omitempty"`
	Flags []*recordv1.Finding `json:"flags,omitempty"`
	// Equipment: a yard's own lock, nobody's; Review is when it is looked at again.
	Equipment bool     `json:"equipment,omitempty"`
	Review    int64    `json:"review,omitempty"`
	Tag       *HoldTag `json:"tag,omitempty"`
}

// Active reports whether the lock is on, as far as records tell.
func (h *Hold) Active() bool { return !h.Off.Set() }

// Target is the point or box it hangs on.
func (h *Hold) Target() string { return h.Point + h.Box }

// Covers lists the points it protects now: its point, or what is in its box.
func (s *State) Covers(h *Hold) []string {
	if h.Point != "" {
		return []string{h.Point}
	}
	if b := s.Boxes[h.Box]; b != nil {
		return sorted(b.Points)
	}
	return nil
}

func (s *State) covers(h *Hold, point string) bool {
	if b := s.Boxes[h.Box]; b != nil {
		_, in := b.Points[point]
		return in
	}
	return h.Point == point
}

// TargetPoints lists the points a target covers now, and its home yard; ok is
// false when the target is not known.
func (s *State) TargetPoints(t *recordv1.Target) (points []string, home string, ok bool) {
	switch o := t.GetOn().(type) {
	case *recordv1.Target_Point:
		if p := s.Points[o.Point]; p != nil {
			return []string{p.ID}, p.Yard, true
		}
	case *recordv1.Target_Box:
		if b := s.Boxes[o.Box]; b != nil {
			return sorted(b.Points), b.Yard, true
		}
	}
	return nil, "", false
}

// HoldsOn lists the active holds that cover a point, by reference.
func (s *State) HoldsOn(point string) []*Hold {
	var out []*Hold
	for _, h := range s.active {
		if s.covers(h, point) {
			out = append(out, h)
		}
	}
	return byRef(out)
}

func byRef(hs []*Hold) []*Hold {
	slices.SortFunc(hs, func(a, b *Hold) int { return strings.Compare(a.Ref, b.Ref) })
	return hs
}

// ownersOf names who has these locks. A found lock has no known owner: it is named
// by its reference.
func ownersOf(hs []*Hold) (holders, foundLocks []string) {
	for _, h := range hs {
		if h.Holder == "" {
			foundLocks = append(foundLocks, h.Ref)
		} else {
			holders = append(holders, h.Holder)
		}
	}
	slices.Sort(holders)
	return slices.Compact(holders), foundLocks
}

// coveredBefore reports whether a hold covered a point before r, by the records
// and by the clocks: the lock was on, and the key in its box.
func (s *State) coveredBefore(h *Hold, point string, r Mark) bool {
	if b := s.Boxes[h.Box]; b != nil {
		if m, in := b.Points[point]; in && !m.before(r) {
			return false
		}
	}
	return h.On.before(r)
}

// coveredSince is when a hold began to cover a point: when it went on, or when
// the point's key went into its box, whichever is later.
func (s *State) coveredSince(h *Hold, point string) Mark {
	if b := s.Boxes[h.Box]; b != nil {
		if m, in := b.Points[point]; in && m.Index > h.On.Index {
			return m
		}
	}
	return h.On
}

// unclaimed reports whether a hold names no open job: its holder may be at work
// for any job on those points.
func (s *State) unclaimed(h *Hold) bool {
	if h.Equipment {
		return false // nobody is at work behind it
	}
	j := s.Jobs[h.Job]
	return j == nil || j.Closed.Set()
}

// holes is how many locks the target of a hold has room for, 0 when it is unknown.
func (s *State) holes(h *Hold) int {
	if p := s.Points[h.Point]; p != nil {
		return int(p.Holes)
	}
	if b := s.Boxes[h.Box]; b != nil {
		return int(b.Holes)
	}
	return 0
}

func (s *State) holdsAt(target string) []*Hold {
	var out []*Hold
	for _, h := range s.active {
		if h.Target() == target {
			out = append(out, h)
		}
	}
	return byRef(out)
}

// locksAt counts the locks that take a hole of a target.
func (s *State) locksAt(target string) int {
	return len(slices.DeleteFunc(s.holdsAt(target), func(h *Hold) bool { return h.StoodClear() || h.TagOnly() }))
}

// stands says that a lock is on and how it comes off: a found one only after its
// owner claimed it, never by anybody's release.
func (h *Hold) stands(subject string) *recordv1.Finding {
	switch {
	case h.Equipment:
		return EquipmentLockStands.About(subject, h.Holder, h.Target(), h.Ref)
	case h.Holder == "":
		return FoundLockStands.About(subject, h.Target(), h.Ref)
	case h.StoodClear():
		return StoodClearLockStands.About(subject, h.Holder, h.Target(), h.Stood, h.Ref)
	}
	return HoldStands.About(subject, h.Holder, h.Target(), h.Ref)
}

// holdStands refuses an act about a hold that is not there or has ended.
func (x *step) holdStands(h *Hold, ref string) bool {
	switch {
	case h == nil:
		x.deny(UnknownHold, ref, ref)
	case !h.Active():
		x.deny(HoldEnded, ref, ref, h.Target(), h.How, h.Off.Time)
	default:
		return true
	}
	return false
}

func overlap(a, b []string) bool {
	return slices.ContainsFunc(a, func(p string) bool { return slices.Contains(b, p) })
}
