package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// boxClause: a key in a group box must be the key of a lock on the point itself.
const boxClause = "1910.147(f)(3)(ii)(D); common practice, no source"

var _ = declare(
	kind((*recordv1.Record).GetBoxAdd, Kind{Name: "box_add", Called: "box put", Class: Lifts, May: whoHas(authorised, supervisor), Clause: "1910.147(f)(3)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtBox, Elsewhere: HomeOnly, Panel: AtPanel, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(b *recordv1.BoxAdd) About { return About{Point: b.GetPoint(), Box: b.GetBox()} },
		func(f *fields, b *recordv1.BoxAdd) {
			f.box("box", b.GetBox())
			f.point("point", b.GetPoint())
		},
		(*step).boxAdd),
	kind((*recordv1.Record).GetBoxRemove, Kind{Name: "box_remove", Called: "box take", Class: Lifts, May: whoHas(authorised, supervisor), Clause: "1910.147(f)(3)", By: ByPerson, With: alone,
		Way: ThroughJournal, Home: AtBox, Elsewhere: HomeOnly, Panel: AtPanel, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(b *recordv1.BoxRemove) About { return About{Point: b.GetPoint(), Box: b.GetBox()} },
		func(f *fields, b *recordv1.BoxRemove) {
			f.box("box", b.GetBox())
			f.point("point", b.GetPoint())
		},
		(*step).boxRemove),
)

var (
	UnknownBox = code.New("UNKNOWN_BOX", code.Row{Args: "box", Who: "the-signer", Answer: code.Unknown})
	BoxNotHome = code.New("BOX_NOT_HOME", code.Row{Args: "box home", Who: "the-signer"})

	KeyPutIn    = code.New("KEY_PUT_IN", code.Row{Args: "point box"})
	KeyTakenOut = code.New("KEY_TAKEN_OUT", code.Row{Args: "point box"})
	KeyInBox    = code.New("KEY_IN_BOX", code.Row{Args: "point box", Answer: code.Taken})
	KeyNotInBox = code.New("KEY_NOT_IN_BOX", code.Row{Args: "point box", Who: "the-signer", Answer: code.Unknown})
	// KeyOfLivePoint: somebody would put the key of a live point into a box.
	KeyOfLivePoint = code.New("KEY_OF_LIVE_POINT", code.Row{Args: "point box", Clause: "1910.147(f)(3)", Who: "authorised-supervisor", Next: "yardhasp isolate {point}"})

	// KeyOfNoLock and KeyOfOlderLock: the key in the box holds no lock on the point. The
	// argument person has a lock on the box. It is empty when only the key is meant.
	KeyOfNoLock    = code.New("KEY_OF_NO_LOCK", code.Row{Args: "point box person", Clause: boxClause, Who: "{person}", Next: "yardhasp lock {point} --padlock PADLOCK"})
	KeyOfOlderLock = code.New("KEY_OF_OLDER_LOCK", code.Row{Args: "point box person", Clause: boxClause, Who: "{person}", Next: "yardhasp box take {box} {point}"})
)

func (x *step) boxAdd(b *recordv1.BoxAdd) {
	s := x.s
	box, p := s.Boxes[b.GetBox()], s.Points[b.GetPoint()]
	switch {
	case box == nil:
		x.deny(UnknownBox, b.GetBox(), b.GetBox())
		return
	case p == nil:
		x.deny(UnknownPoint, b.GetPoint(), b.GetPoint())
		return
	case box.Yard != x.env.GetYard():
		x.deny(BoxNotHome, box.ID, box.ID, box.Yard)
		return
	}
	if _, in := box.Points[p.ID]; in {
		x.deny(KeyInBox, p.ID, p.ID, box.ID)
		return
	}
	if p.Live {
		x.deny(KeyOfLivePoint, p.ID, p.ID, box.ID)
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && slices.Contains(q.Points, p.ID) {
			x.deny(RequestOpen, p.ID, p.ID, id, q.By.By)
		}
	}
	if x.refused() {
		return
	}
	box.Points[p.ID] = x.mark
	if why := s.keyOfNoLock(box.ID, p.ID, ""); why != nil {
		x.out.Flags = append(x.out.Flags, why)
	}
	x.did(KeyPutIn, p.ID, p.ID, box.ID)
}

func (x *step) boxRemove(b *recordv1.BoxRemove) {
	s := x.s
	box := s.Boxes[b.GetBox()]
	switch {
	case box == nil:
		x.deny(UnknownBox, b.GetBox(), b.GetBox())
		return
	case box.Yard != x.env.GetYard():
		x.deny(BoxNotHome, box.ID, box.ID, box.Yard)
		return
	}
	if _, in := box.Points[b.GetPoint()]; !in {
		x.deny(KeyNotInBox, b.GetPoint(), b.GetPoint(), box.ID)
		return
	}
	for _, h := range s.holdsAt(box.ID) {
		x.out.Conditions = append(x.out.Conditions, h.Stands(h.Ref))
	}
	if !x.refused() {
		delete(box.Points, b.GetPoint())
		x.did(KeyTakenOut, b.GetPoint(), b.GetPoint(), box.ID)
	}
}

// keyOfNoLock says why the key of a point in a box holds nothing there. It is nil when
// the key does hold the point.
//
// A person who locks the box is protected by the lock whose key is inside. So such a
// lock must hang on the point, and must have hung there when the key went in. Whoever
// put the key in must have known of that lock (decisions.md 18). person is the one whose
// protection is asked about.
func (s *State) keyOfNoLock(box, point, person string) *recordv1.Finding {
	b := s.Boxes[box]
	if b == nil {
		return nil
	}
	put, in := b.Points[point]
	if !in {
		return nil
	}
	later := false
	for _, d := range s.holdsAt(point) {
		if d.Holder == "" || d.TagOnly() || d.StoodClear() || s.lacks(d, point) != nil {
			continue
		}
		if d.On.seenBy(put) {
			return nil
		}
		later = true
	}
	if later {
		return KeyOfOlderLock.About(point, point, box, person)
	}
	return KeyOfNoLock.About(point, point, box, person)
}
