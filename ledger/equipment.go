package ledger

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// A yard's equipment lock keeps a machine out of service between jobs (common
// practice, no source). It travels as a Lock, so that everything that a lock stands
// against it stands against; but it is nobody's personal lock, 1910.147(c)(8): it
// protects nobody, and a supervisor or manager takes it off.

// equipmentLock notes what an equipment lock lacks; none of it stops it.
func (x *step) equipmentLock(h *Hold, l *recordv1.Lock) {
	h.Equipment, h.Review = true, l.GetReviewUnixMs()
	if h.Job != "" {
		x.flag("EQUIPMENT_LOCK", h.Target(), "an equipment lock belongs to the machine and to no job: it protects nobody at work on "+h.Job, "1910.147(d)(4)(i)")
		h.Job = ""
	}
	if h.Review <= x.s.Time {
		x.flag("NO_REVIEW", h.Target(), "no day ahead is named on which this equipment lock is looked at again", "common practice, no source")
		h.Review = max(h.Review, 0)
	}
	if p := x.s.Locks[h.Padlock]; p != nil && p.Kind != recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT {
		x.flag("PERSONAL_PADLOCK", h.Padlock, "this padlock is a person's, not a yard's equipment lock", padlockClause)
	}
}

// releaseEquipment takes an equipment lock off, by role and with a reason, where it
// hangs. Never a personal lock: whether a hold is one its own record says.
func (x *step) releaseEquipment(h *Hold, r *recordv1.Release) {
	const remedy = "a supervisor or manager takes it off at its yard, with a reason"
	if !x.who.Has(supervisor, manager) {
		x.refuse("NOT_PERMITTED", x.who.ID, "only a supervisor or manager takes an equipment lock off", remedy, "supervisor or manager", "")
	}
	if !text(r.GetWhy()) {
		x.refuse("NO_REASON", h.Ref, "no reason is given for taking the equipment lock off", remedy, x.who.ID, "")
	}
	if home := YardOf(h.Target()); home != x.env.GetYard() {
		x.refuse("NOT_HOME", h.Ref, "an equipment lock comes off only at its home yard "+home, "record it there", x.who.ID, "")
	}
	if x.refused() {
		return
	}
	x.takeOff(h, "taken off by "+x.who.ID+": "+r.GetWhy())
}

func (x *step) reviewLock(r *recordv1.ReviewLock) {
	h := x.s.Holds[r.GetHold()]
	if !x.holdStands(h, r.GetHold()) {
		return
	}
	if !h.Equipment {
		x.refuse("NOT_EQUIPMENT", h.Ref, "this is a lock of "+holderName(h)+", not a yard's equipment lock", "", holderName(h), "")
	}
	if r.GetNextUnixMs() <= x.s.Time {
		x.refuse("EXPIRED", h.Ref, "the next review would be over before it begins", "choose a later day", x.who.ID, "")
	}
	if x.refused() {
		return
	}
	h.Review = r.GetNextUnixMs()
	x.change("equipment lock on %s looked at by %s: %s", h.Target(), x.who.ID, r.GetSeen())
}

// overdue lists the concerned equipment locks whose review is over at a
// moment, Unix ms, or was never named.
func (s *State) overdue(at int64, concerned func(h *Hold) bool) []string {
	var out []string
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; h.Equipment && h.Review <= at && concerned(h) {
			out = append(out, fmt.Sprintf("REVIEW OVERDUE: the equipment lock on %s (%s), put on by %s: look whether the machine stays out of service", h.Target(), h.Ref, h.Holder))
		}
	}
	return out
}

// notPersonal refuses what passes, ends or lifts a personal lock for an equipment
// lock.
func (x *step) notPersonal(h *Hold) bool {
	if h == nil || !h.Equipment {
		return true
	}
	x.refuse("EQUIPMENT_LOCK", h.Ref, "this is a yard's equipment lock and nobody's personal lock", "a supervisor or manager takes it off at its yard, with a reason", "supervisor or manager", "")
	return false
}
