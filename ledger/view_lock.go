package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// PointView shows one point.
func (s *State) PointView(id string) *recordv1.PointView {
	p := s.Points[id]
	if p == nil {
		return &recordv1.PointView{Point: id}
	}
	v := &recordv1.PointView{Point: id, Yard: p.Yard, Label: p.Label, Holes: p.Holes, Position: recordv1.Position_POSITION_LIVE,
		HolesLeft: int32(p.Holes) - int32(s.locksAt(id)), NotLockable: p.NotLockable, Demonstration: p.Demonstration}
	for _, h := range s.HoldsOn(id) {
		v.Holds = append(v.Holds, h.Ref)
	}
	if !p.Live {
		v.Position = recordv1.Position_POSITION_OPEN
		if len(s.Guarding(id)) > 0 {
			v.Position = recordv1.Position_POSITION_OPEN_AND_HELD
		}
	}
	for _, r := range sorted(s.Reqs) {
		if q := s.Reqs[r]; q.open() && slices.Contains(q.Points, id) {
			v.Request = r
		}
	}
	for _, b := range sorted(s.Boxes) {
		if _, in := s.Boxes[b].Points[id]; in {
			v.Boxes = append(v.Boxes, b)
		}
	}
	return v
}

// BoxView shows one box. It is nil when there is no box of this name.
func (s *State) BoxView(id string) *recordv1.BoxView {
	b := s.Boxes[id]
	if b == nil {
		return nil
	}
	v := &recordv1.BoxView{Box: id, Yard: b.Yard, Label: b.Label, Holes: b.Holes, Points: sorted(b.Points), HolesLeft: int32(b.Holes) - int32(s.locksAt(id))}
	for _, h := range s.holdsAt(id) {
		v.Holds = append(v.Holds, h.Ref)
	}
	return v
}

// HoldView shows one hold.
func (s *State) HoldView(h *Hold) *recordv1.HoldView {
	v := &recordv1.HoldView{Ref: h.Ref, Holder: h.Holder, Target: h.Target(), Covers: s.Covers(h), Job: h.Job, Padlock: h.Padlock,
		SinceUnixMs: h.On.Time, Index: h.On.Index, Flags: h.Flags, Found: h.Holder == "", Guards: len(s.Covers(h)) > 0 && !h.StoodClear() && !h.Equipment, StoodClear: h.Stood,
		Standing: s.standing(h), TagOnly: h.TagOnly(), Equipment: h.Equipment, ReviewUnixMs: h.Review, Tag: h.Tag.view()}
	if p := s.People[h.Holder]; p != nil {
		v.Name = p.Name
	}
	for _, c := range v.Covers {
		v.Guards = v.Guards && s.Points[c] != nil && !s.Points[c].Live && s.lacks(h, c) == nil
	}
	return v
}

// PadlockView shows one padlock. It is nil when there is none with this serial.
func (s *State) PadlockView(serial string) *recordv1.PadlockView {
	p := s.Padlocks[serial]
	if p == nil {
		return nil
	}
	v := &recordv1.PadlockView{Serial: serial, Owner: p.Owner, Kind: p.Kind, KeysCut: p.KeysCut, SpareHolder: p.SpareHolder, Spare: spareWords[p.Spare],
		On: s.hangsOn(serial), Flags: s.recordFlags(p)}
	if p.KeysCut <= 1 && p.Spare == recordv1.SpareKey_SPARE_KEY_UNSPECIFIED {
		v.Spare = spareWords[recordv1.SpareKey_SPARE_KEY_NONE_CUT]
	}
	slices.Sort(v.On)
	return v
}

var spareWords = map[recordv1.SpareKey]string{
	recordv1.SpareKey_SPARE_KEY_UNSPECIFIED:     "not said",
	recordv1.SpareKey_SPARE_KEY_NONE_CUT:        "none cut",
	recordv1.SpareKey_SPARE_KEY_DESTROYED:       "destroyed",
	recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY: "manager's custody",
	recordv1.SpareKey_SPARE_KEY_ELSEWHERE:       "OUT OF CUSTODY",
}
