package ledger

import (
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// A yard's equipment lock keeps a machine out of service between jobs (common practice,
// no source). It is recorded as a Lock, so it stands against everything that a lock
// stands against. But it is nobody's personal lock, 1910.147(c)(8). It protects nobody,
// and a supervisor or manager takes it off.

var _ = declare(
	kind((*recordv1.Record).GetReviewLock, Kind{Name: "review_lock", Called: "review lock", Class: Lifts, May: whoHas(supervisor, manager), Clause: "common practice, no source", By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(r *recordv1.ReviewLock) About { return About{Record: r.GetHold()} },
		func(f *fields, r *recordv1.ReviewLock) {
			f.refText("hold", r.GetHold())
			f.moment("next_unix_ms", r.GetNextUnixMs())
			f.text("seen", r.GetSeen())
		},
		(*step).reviewLock),
)

var (
	// EquipmentLock: the act passes, ends or lifts a personal lock, but names an
	// equipment lock.
	EquipmentLock = code.New("EQUIPMENT_LOCK", code.Row{Args: "target record", Who: "supervisor-manager", Next: "yardhasp release {record} --why WHY", Answer: code.Denied})
	// EquipmentLockNamesJob: an equipment lock named a job. The ledger leaves the job out.
	EquipmentLockNamesJob = code.New("EQUIPMENT_LOCK_NAMES_JOB", code.Row{Args: "target job", Clause: "1910.147(d)(4)(i)"})
	NoReview              = code.New("NO_REVIEW", code.Row{Args: "target record", Clause: "common practice, no source", Who: "supervisor-manager", Next: "yardhasp review-lock {record} --next DAY --seen SEEN"})
	PersonalPadlock       = code.New("PERSONAL_PADLOCK", code.Row{Args: "padlock", Clause: padlockClause})

	// EquipmentLockByRole: the person does not have the role to take it off.
	EquipmentLockByRole  = code.New("EQUIPMENT_LOCK_BY_ROLE", code.Row{Args: "person target record", Who: "supervisor-manager", Next: "yardhasp release {record} --why WHY", Answer: code.Denied})
	EquipmentLockNotHome = code.New("EQUIPMENT_LOCK_NOT_HOME", code.Row{Args: "target record home", Who: "the-signer"})
	NoReason             = code.New("NO_REASON", code.Row{Args: "target record", Who: "the-signer", Next: "yardhasp release {record} --why WHY"})
	EquipmentTakenOff    = code.New("EQUIPMENT_TAKEN_OFF", code.Row{Args: "person why:text"})

	NotEquipment  = code.New("NOT_EQUIPMENT", code.Row{Args: "holder target record", Who: "{holder}"})
	ReviewTooSoon = code.New("REVIEW_TOO_SOON", code.Row{Args: "target record next:time", Who: "the-signer", Next: "yardhasp review-lock {record} --next DAY --seen SEEN"})
	LockReviewed  = code.New("LOCK_REVIEWED", code.Row{Args: "target record person seen:text next:time"})
	// ReviewOverdue is shown until somebody looks at the lock again.
	ReviewOverdue = code.New("REVIEW_OVERDUE", code.Row{Args: "target record person", Clause: "common practice, no source", Who: "supervisor-manager", Next: "yardhasp review-lock {record} --next DAY --seen SEEN"})
)

// equipmentLock flags what an equipment lock lacks. No flag stops the lock.
func (x *step) equipmentLock(h *Hold, l *recordv1.Lock) {
	h.Equipment, h.Review = true, l.GetReviewUnixMs()
	if h.Job != "" {
		x.note(EquipmentLockNamesJob, h.Target(), h.Target(), h.Job)
		h.Job = ""
	}
	if h.Review <= x.s.Time {
		x.note(NoReview, h.Target(), h.Target(), h.Ref)
		h.Review = max(h.Review, 0)
	}
	if p := x.s.Padlocks[h.Padlock]; p != nil && p.Kind != recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT {
		x.note(PersonalPadlock, h.Padlock, h.Padlock)
	}
}

// releaseEquipment takes an equipment lock off. It needs a role, a reason and the place
// where the lock hangs. It can never take off a personal lock: the lock's own record
// says which kind it is.
func (x *step) releaseEquipment(h *Hold, r *recordv1.Release) {
	if !x.who.Has(supervisor, manager) {
		x.deny(EquipmentLockByRole, x.who.ID, x.who.ID, h.Target(), h.Ref)
	}
	if !text(r.GetWhy()) {
		x.deny(NoReason, h.Ref, h.Target(), h.Ref)
	}
	if home := YardOf(h.Target()); home != x.env.GetYard() {
		x.deny(EquipmentLockNotHome, h.Ref, h.Target(), h.Ref, home)
	}
	if x.refused() {
		return
	}
	x.takeOff(h, EquipmentTakenOff.About(h.Ref, x.who.ID, r.GetWhy()))
}

func (x *step) reviewLock(r *recordv1.ReviewLock) {
	h := x.s.Holds[r.GetHold()]
	if !x.holdStands(h, r.GetHold()) {
		return
	}
	if !h.Equipment {
		x.deny(NotEquipment, h.Ref, h.Holder, h.Target(), h.Ref)
	}
	if r.GetNextUnixMs() <= x.s.Time {
		x.deny(ReviewTooSoon, h.Ref, h.Target(), h.Ref, r.GetNextUnixMs())
	}
	if x.refused() {
		return
	}
	h.Review = r.GetNextUnixMs()
	x.did(LockReviewed, h.Target(), h.Target(), h.Ref, x.who.ID, r.GetSeen(), h.Review)
}

// overdue lists those of the concerned equipment locks whose review was due before a
// moment, in Unix ms, or was never named.
func (s *State) overdue(at int64, concerned func(h *Hold) bool) []*recordv1.Finding {
	var out []*recordv1.Finding
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; h.Equipment && h.Review <= at && concerned(h) {
			out = append(out, ReviewOverdue.About(h.Target(), h.Target(), h.Ref, h.Holder))
		}
	}
	return out
}

// notPersonal refuses to pass, end or lift an equipment lock by an act for a personal
// lock.
func (x *step) notPersonal(h *Hold) bool {
	if h == nil || !h.Equipment {
		return true
	}
	x.deny(EquipmentLock, h.Ref, h.Target(), h.Ref)
	return false
}
