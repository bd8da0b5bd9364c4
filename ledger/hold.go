package ledger

import (
	"slices"
	"strings"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	UnknownHold = code.New("UNKNOWN_HOLD", code.Row{Args: "record", Who: "the-signer", Next: "yardhasp board", Answer: code.Unknown})
	// HoldEnded: the hold has ended. The argument how says what took it off.
	HoldEnded = code.New("ENDED", code.Row{Args: "record target how:why at:time", Answer: code.Taken})

	// These say why a lock stands against a start. Each kind of lock comes off in its
	// own way.
	HoldStands           = code.New("HOLD_STANDS", code.Row{Args: "holder target record", Clause: "1910.147(e)(3)", Who: "{holder}", Next: "yardhasp release {record}"})
	FoundLockStands      = code.New("FOUND_LOCK_STANDS", code.Row{Args: "target record", Clause: "1910.147(e)(3)", Who: "its-owner", Next: "yardhasp claim draft {record} --witness WITNESS"})
	EquipmentLockStands  = code.New("EQUIPMENT_LOCK_STANDS", code.Row{Args: "holder target record", Who: "supervisor-manager", Next: "yardhasp release {record} --why WHY"})
	StoodClearLockStands = code.New("STOOD_CLEAR_LOCK_STANDS", code.Row{Args: "holder target request record", Clause: testClause, Who: "{holder}", Next: "yardhasp release {record}"})

	// NoLock: a person needs a lock of their own on a point and has none there. Each
	// such point gets its own finding.
	NoLock = code.New("NO_LOCK", code.Row{Args: "person point job clause", Who: "{person}", Next: "yardhasp lock {point} --job {job} --padlock PADLOCK"})
)

// Hold is one lock on one point or box, for one job. Its id is its position in the
// journal that took it, and is never used again (protocol.md C7).
type Hold struct {
	Ref     string `json:"ref"`
	Holder  string `json:"holder,omitempty"` // empty for a found lock whose owner is not known
	Point   string `json:"point,omitempty"`
	Box     string `json:"box,omitempty"`
	Padlock string `json:"padlock,omitempty"`
	Job     string `json:"job,omitempty"`
	Seen    string `json:"seen,omitempty"`
	On      Mark   `json:"on"`
	// Claimed is when the owner of a found lock was identified.
	Claimed Mark `json:"claimed"`
	// Since is an entry index. A key younger than that entry cannot end the hold.
	Since uint64 `json:"since"`
	// Tried is when the handle was last tried against this lock.
	Tried Mark `json:"tried"`
	// Stood names the test or positioning that its holder stood clear for. StoodFor is
	// the index of that request's entry.
	Stood    string `json:"stood,omitempty"`
	StoodFor uint64 `json:"stood_for,omitempty"`
	// Off is when the hold ended. How says what ended it.
	Off   Mark                `json:"off"`
	How   *recordv1.Finding   `json:"how,omitempty"`
	Flags []*recordv1.Finding `json:"flags,omitempty"`
	// Equipment marks a lock of the yard that belongs to no person. Review is when the
	// yard must look at it again.
	Equipment bool     `json:"equipment,omitempty"`
	Review    int64    `json:"review,omitempty"`
	Tag       *HoldTag `json:"tag,omitempty"`
}

// Active reports whether the lock is on, as far as the records tell.
func (h *Hold) Active() bool { return !h.Off.Set() }

// Target is the point or box that the lock hangs on.
func (h *Hold) Target() string { return h.Point + h.Box }

// Covers lists the points that the hold protects now: its point, or the points whose
// keys are in its box.
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

// TargetPoints lists the points that a target covers now, and gives its home yard. ok is
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

// HoldsOn lists the active holds that cover a point, ordered by reference.
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

// ownersOf names the owners of these locks. A found lock has no known owner, so it is
// named by its reference.
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

// coveredBefore reports whether a hold covered a point before r. Both the order of
// records and the clocks must say so: the lock was on, and the key was in its box.
func (s *State) coveredBefore(h *Hold, point string, r Mark) bool {
	if b := s.Boxes[h.Box]; b != nil {
		if m, in := b.Points[point]; in && !m.before(r) {
			return false
		}
	}
	return h.On.before(r)
}

// coveredSince is when a hold began to cover a point. That is when the lock went on, or
// when the point's key went into the box, whichever is later.
func (s *State) coveredSince(h *Hold, point string) Mark {
	if b := s.Boxes[h.Box]; b != nil {
		if m, in := b.Points[point]; in && m.Index > h.On.Index {
			return m
		}
	}
	return h.On
}

// unclaimed reports whether a hold names no open job. Its holder may then be at work for
// any job on those points.
func (s *State) unclaimed(h *Hold) bool {
	if h.Equipment {
		return false // an equipment lock protects no person at work
	}
	j := s.Jobs[h.Job]
	return j == nil || j.Closed.Set()
}

// holes is the number of locks that fit on the target of a hold. It is 0 when the target
// is not known.
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

// locksAt counts the locks that fill a hole of a target.
func (s *State) locksAt(target string) int {
	return len(slices.DeleteFunc(s.holdsAt(target), func(h *Hold) bool { return h.StoodClear() || h.TagOnly() }))
}

// Stands says that a lock is on and how it may come off. A found lock comes off only
// after its owner claimed it; nobody else can release it.
func (h *Hold) Stands(subject string) *recordv1.Finding {
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

// holdStands refuses an act about a hold that is unknown or has ended.
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
