package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
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
	How   string              `json:"how,omitempty"`
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

// lock is never refused when its target and signer are known (decisions.md 2).
func (x *step) lock(l *recordv1.Lock) {
	h := &Hold{Ref: x.out.Ref, Holder: x.who.ID, Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox(), Padlock: l.GetPadlock(), Job: l.GetJob(), On: x.mark, Since: x.bornUnder(), Tag: tagOf(l.GetTag())}
	if l.GetEquipment() {
		x.equipmentLock(h, l)
	} else {
		x.jobFlags(h)
		x.flagDebt(h.Holder)
	}
	x.padlockOn(h)
	x.tagFlags(h)
	x.putOn(h, l.GetTarget())
}

// foundLock is a lock seen hanging. It is a hold like any other.
func (x *step) foundLock(l *recordv1.FoundLock) {
	h := &Hold{Ref: x.out.Ref, Point: l.GetTarget().GetPoint(), Box: l.GetTarget().GetBox(), Job: l.GetJob(), Seen: l.GetSeen(), On: x.mark, Since: x.mark.Index}
	x.flag("OWNER_UNKNOWN", h.Target(), "a lock was seen hanging and its owner is not known", "1910.147(c)(5)(ii)")
	x.putOn(h, l.GetTarget())
}

func (x *step) putOn(h *Hold, t *recordv1.Target) {
	s := x.s
	pts, _, known := s.TargetPoints(t)
	if !known {
		x.refuse("UNKNOWN_POINT", h.Target(), "no such point or box is registered", "read the label at the panel again", x.rec.GetSigner(), "")
		return
	}
	holes := s.holes(h)
	if n := s.locksAt(h.Target()); n >= holes && !h.TagOnly() {
		x.flag("HASP_FULL", h.Target(), fmt.Sprintf("%d locks are recorded and it has holes for %d", n+1, holes), "common practice, no source")
	}
	for _, p := range pts {
		if s.Points[p].Live {
			x.flag("LIVE", p, p+" is recorded as switched on: this lock protects nothing until it is opened", "1910.147(d)(3)")
		}
	}
	x.promiseKept(h.Target())
	h.Flags = x.out.Flags
	s.Holds[h.Ref], s.active[h.Ref] = h, h
	for _, id := range sorted(s.Jobs) {
		if j := s.Jobs[id]; h.Job == id || s.unclaimed(h) && overlap(pts, j.Plan) {
			j.LastHold.add(h.On)
			if !j.Closed.Set() {
				s.use(j.Zone, h.Holder, h.On)
			}
		}
	}
	who := h.Holder
	if who == "" {
		who = "owner unknown"
	}
	x.change("lock of %s on %s", who, h.Target())
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && overlap(q.Points, pts) {
			s.void(q, fmt.Sprintf("%s locked %s", who, h.Target()), x)
		}
	}
}

// promiseKept raises the loudest alarm there is when a yard promised points to be
// kept off and one of them is live by the time the record arrives: its opening
// did not count (protocol.md 5).
func (x *step) promiseKept(what string) {
	if x.env.GetGrant() != recordv1.Grant_GRANT_HELD_LOCALLY {
		return
	}
	for _, p := range x.env.GetPromised() {
		if pt := x.s.Points[p]; pt == nil || pt.Live {
			text := fmt.Sprintf("PROMISE BROKEN: %s told %s that %s stays off (%s), and the ledger has it as switched on. Go to the panel now", x.env.GetYard(), x.rec.GetSigner(), p, what)
			x.flag("PROMISE_BROKEN", p, text, "")
			x.s.alarm("PROMISE_BROKEN", x.out.Ref, text, x.mark)
		}
	}
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

// jobFlags notes every rule that a personal lock breaks with its job; none of them
// stops it.
func (x *step) jobFlags(h *Hold) {
	s := x.s
	j := s.Jobs[h.Job]
	if j != nil && !j.Closed.Set() {
		x.flagRetrain(h.Holder, j.Zone)
	} else {
		x.flagRetrain(h.Holder, "")
	}
	x.flagExchange(h.Holder, YardOf(h.Target()))
	switch {
	case h.Job == "":
		x.flag("NO_JOB", h.Target(), "the lock names no job", "")
	case j == nil || j.Closed.Set():
		x.flag("UNKNOWN_JOB", h.Job, "no open job of this name", "")
	default:
		if !overlap(s.Covers(h), j.Plan) {
			x.flag("DOES_NOT_ISOLATE", h.Target(), "THIS POINT DOES NOT ISOLATE YOUR WORK: "+h.Target()+" is not in the plan of "+j.ID, "1910.147(d)(3)")
		}
		if !j.member(h.Holder) {
			x.flag("NOT_ON_CREW", h.Holder, h.Holder+" is not on the crew of "+j.ID, "1910.147(f)(3)")
		}
	}
}

// padlockOn notes every rule that the padlock breaks. A tag alone has none.
func (x *step) padlockOn(h *Hold) {
	s := x.s
	if h.Padlock == "" && h.TagOnly() {
		return
	}
	if h.Padlock == "" {
		x.flag("NO_PADLOCK", h.Target(), "no padlock is named", "1910.147(c)(5)(ii)")
		return
	}
	p := s.Locks[h.Padlock]
	switch {
	case p == nil:
		x.flag("UNKNOWN_PADLOCK", h.Padlock, "this padlock is not registered", padlockClause)
	case h.Equipment:
	case p.Owner == "":
		x.flag("OTHERS_PADLOCK", h.Padlock, "this padlock was returned and is issued to nobody", padlockClause)
	case p.Owner != h.Holder:
		x.flag("OTHERS_PADLOCK", h.Padlock, "this padlock belongs to "+p.Owner, padlockClause)
	}
	x.out.Flags = append(x.out.Flags, s.padlockFlags(h.Padlock, h.Equipment)...)
	for _, ref := range sorted(s.active) {
		if o := s.active[ref]; o.Padlock == h.Padlock && !o.StoodClear() {
			x.flag("TWO_PLACES", h.Padlock, "this padlock is recorded on "+o.Target()+" too", "1910.147(c)(5)(ii)")
		}
	}
}

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

// release ends a hold: its holder alone, with a key that is not younger than
// the hold (design.md, Security; 1910.147(e)(3)).
func (x *step) release(r *recordv1.Release) {
	s, ref := x.s, RefOf(r.GetHold())
	h := s.Holds[ref]
	switch {
	case !x.holdStands(h, ref):
	case h.Equipment:
		x.releaseEquipment(h, r)
	case h.Holder != x.who.ID:
		owner := h.Holder
		if owner == "" {
			owner = "its owner, who is not known"
		}
		x.refuse("NOT_YOUR_LOCK", ref, fmt.Sprintf("the lock on %s is held by %s; only its holder takes it off", h.Target(), owner), "ask them to sign off at the panel", owner, removalClause)
	case x.mayEnd(h, h.Holder):
		for _, so := range sorted(x.s.inside) {
			if on := x.s.inside[so]; on.Person == x.who.ID && (x.s.Jobs[on.Job] == nil || on.Job == h.Job || overlap(x.s.Covers(h), x.s.Jobs[on.Job].Plan)) {
				x.flag("STILL_SIGNED_ON", on.Job, "you are still signed on to the zone of "+on.Job+" without this lock: get out, then sign off", "1910.147(e)(2)(i)")
			}
		}
		covered := x.s.Covers(h)
		x.takeOff(h, "released")
		x.protectionEnded(h, covered)
	}
}

func (x *step) takeOff(h *Hold, how string) {
	h.Off, h.How = x.mark, how
	delete(x.s.active, h.Ref)
	x.s.end("hold", h.Ref)
	x.s.clearAlarm("PROMISE_BROKEN", h.Ref)
	for _, id := range sorted(x.s.Jobs) {
		if j := x.s.Jobs[id]; !j.Closed.Set() && (h.Job == id || overlap(x.s.Covers(h), j.Plan)) {
			j.LastOff.add(x.mark)
		}
		if j := x.s.Jobs[id]; h.Job == id || !j.Closed.Set() && x.s.unclaimed(h) && overlap(x.s.Covers(h), j.Plan) {
			x.s.use(j.Zone, h.Holder, x.mark)
		}
	}
	x.change("lock of %s off %s: %s", holderName(h), h.Target(), how)
}

// triedHandle: the holder tried the handle against their own lock.
func (x *step) triedHandle(t *recordv1.TriedHandle) {
	h := x.s.Holds[RefOf(t.GetHold())]
	if h == nil || !h.Active() || h.Holder != x.who.ID {
		x.flag("NOT_YOUR_LOCK", RefOf(t.GetHold()), "this is no active lock of "+x.who.ID+": the try does not count", "1910.147(d)(6)")
		return
	}
	if x.ok {
		h.Tried = x.mark
		x.change("%s tried the handle of %s against their lock", x.who.ID, h.Target())
	}
}

func overlap(a, b []string) bool {
	return slices.ContainsFunc(a, func(p string) bool { return slices.Contains(b, p) })
}

func (x *step) boxAdd(b *recordv1.BoxAdd) {
	s := x.s
	box, p := s.Boxes[b.GetBox()], s.Points[b.GetPoint()]
	switch {
	case box == nil || p == nil:
		x.refuse("UNKNOWN_POINT", b.GetBox()+" "+b.GetPoint(), "no such box or point is registered", "read the label again", x.who.ID, "")
		return
	case box.Yard != x.env.GetYard():
		x.refuse("NOT_HOME", box.ID, "a box changes only at its home yard "+box.Yard, "record it there", x.who.ID, "")
		return
	}
	if _, in := box.Points[p.ID]; in {
		x.refuse("EXISTS", p.ID, "its key is in the box already", "", "", "")
		return
	}
	if p.Live {
		x.refuse("LIVE", p.ID, p.ID+" is recorded as switched on", "open and lock it first", "authorised employee", "1910.147(f)(3)")
	}
	for _, id := range sorted(s.Reqs) {
		if q := s.Reqs[id]; q.open() && slices.Contains(q.Points, p.ID) {
			x.refuse("REQUESTED", p.ID, "request "+id+" asks to energise it", "withdraw the request first", q.By.By, "")
		}
	}
	if !x.refused() {
		box.Points[p.ID] = x.mark
		if why := s.keyOfNoLock(box.ID, p.ID); why != "" {
			x.flag("KEY_OF_NO_LOCK", p.ID, why, boxClause)
		}
		x.change("key of %s put into box %s", p.ID, box.ID)
	}
}

func (x *step) boxRemove(b *recordv1.BoxRemove) {
	s := x.s
	box := s.Boxes[b.GetBox()]
	switch {
	case box == nil:
		x.refuse("UNKNOWN_POINT", b.GetBox(), "no such box is registered", "read the label again", x.who.ID, "")
		return
	case box.Yard != x.env.GetYard():
		x.refuse("NOT_HOME", box.ID, "a box changes only at its home yard "+box.Yard, "record it there", x.who.ID, "")
		return
	}
	if _, in := box.Points[b.GetPoint()]; !in {
		x.refuse("UNKNOWN_POINT", b.GetPoint(), "its key is not in this box", "", "", "")
		return
	}
	for _, h := range s.holdsAt(box.ID) {
		x.refuse("HOLD_STANDS", h.Ref, fmt.Sprintf("%s still has a lock on the box", holderName(h)), "they take it off first", holderName(h), "1910.147(f)(3)(ii)(D)")
	}
	if !x.refused() {
		delete(box.Points, b.GetPoint())
		x.change("key of %s taken out of box %s", b.GetPoint(), box.ID)
	}
}

func holderName(h *Hold) string {
	if h.Holder == "" {
		return "the unknown owner of a found lock"
	}
	return h.Holder
}
