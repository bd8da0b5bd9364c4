package ledger

import (
	"slices"

	"yardhasp/ledger/seal"
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

// HoldView shows one hold.
func (s *State) HoldView(h *Hold) *recordv1.HoldView {
	v := &recordv1.HoldView{Ref: h.Ref, Holder: h.Holder, Target: h.Target(), Covers: s.Covers(h), Job: h.Job, Padlock: h.Padlock,
		SinceUnixMs: h.On.Time, Index: h.On.Index, Flags: h.Flags, Found: h.Holder == "", Guards: len(s.Covers(h)) > 0 && !h.StoodClear() && !h.Equipment, StoodClear: h.Stood,
		Standing: s.standing(h), TagOnly: h.TagOnly(), Equipment: h.Equipment, ReviewUnixMs: h.Review, Tag: h.Tag.view()}
	if p := s.People[h.Holder]; p != nil {
		v.Name = p.Name
	}
	for _, c := range v.Covers {
		v.Guards = v.Guards && s.Points[c] != nil && !s.Points[c].Live && s.lacks(h, c) == ""
	}
	return v
}

// RequestView shows one request; nil when there is none of this name. It shares
// nothing that a later entry changes in place.
func (s *State) RequestView(id string) *recordv1.RequestView {
	q := s.Reqs[id]
	if q == nil {
		return nil
	}
	v := &recordv1.RequestView{Id: q.ID, Job: q.Job, Requester: q.By.By, Points: q.Points, State: q.State, Involved: q.Involved,
		Confirmed: slices.Clone(q.Attested), Energised: slices.Clone(q.Energised), DeadlineUnixMs: q.Deadline, Why: q.Why,
		Kind: q.Kind, Index: q.By.Index, Because: q.Because}
	if q.Test() && q.open() {
		for _, h := range s.notClear(q) {
			v.NotClear = append(v.NotClear, h.Ref)
		}
	}
	return v
}

// YardView shows one yard.
func (s *State) YardView(id string) *recordv1.YardView {
	y := s.Yards[id]
	v := &recordv1.YardView{Id: id, Name: y.Name, Address: y.Address, Fingerprint: seal.Fingerprint(y.Key), ReplicaKey: y.Key}
	if d := s.Plans[id]; d != nil {
		v.DrawingRevision, v.DrawingWalkedBy = d.Revision, d.Walked.By
	}
	return v
}
