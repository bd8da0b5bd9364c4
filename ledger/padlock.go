package ledger

import (
	"fmt"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	padlockClause = "1910.147(c)(5)(ii)"
	// keyClause covers the rules about a second key that go beyond the regulation.
	keyClause = "common practice, no source"
)

var _ = declare(
	kind((*recordv1.Record).GetRegisterPadlock, Kind{Name: "register_padlock", Called: "padlock add", Class: Lifts, May: whoHas(supervisor, manager), Clause: padlockClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(*recordv1.RegisterPadlock) About { return About{} },
		func(f *fields, p *recordv1.RegisterPadlock) {
			f.name("serial", p.GetSerial())
			f.name("owner", p.GetOwner())
			f.optionalOneOf("spare", recordv1.SpareKey_name, int32(p.GetSpare()))
			f.optionalName("spare_holder", p.GetSpareHolder())
			f.optionalOneOf("kind", recordv1.PadlockKind_name, int32(p.GetKind()))
		},
		(*step).registerPadlock),
	kind((*recordv1.Record).GetMoveKey, Kind{Name: "move_key", Called: "padlock key", Class: Asserts, May: whoHas(manager), Clause: keyClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(m *recordv1.MoveKey) About { return About{Record: m.GetRemoval()} },
		func(f *fields, m *recordv1.MoveKey) {
			f.name("serial", m.GetSerial())
			f.oneOf("move", recordv1.KeyMove_name, int32(m.GetMove()))
			destroyed := m.GetMove() == recordv1.KeyMove_KEY_MOVE_DESTROYED
			f.must((m.GetHolder() == "") == destroyed && (destroyed || Name(m.GetHolder())), "holder", "form-key-holder")
			if m.GetRemoval() != "" {
				f.refText("removal", m.GetRemoval())
			}
		},
		(*step).moveKey),
	kind((*recordv1.Record).GetIssuePadlock, Kind{Name: "issue_padlock", Called: "padlock issue", Class: Asserts, May: whoHas(supervisor, manager), Clause: padlockClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.IssuePadlock) About { return About{} },
		func(f *fields, i *recordv1.IssuePadlock) {
			f.name("serial", i.GetSerial())
			f.optionalName("person", i.GetPerson())
		},
		(*step).issuePadlock),
	kind((*recordv1.Record).GetReportPadlock, Kind{Name: "report_padlock", Called: "padlock report", Class: Protects, May: anybody(), Clause: noClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.ReportPadlock) About { return About{} },
		func(f *fields, r *recordv1.ReportPadlock) {
			f.name("serial", r.GetSerial())
			f.oneOf("trouble", recordv1.PadlockTrouble_name, int32(r.GetTrouble()))
			f.optionalText("what", r.GetWhat())
		},
		(*step).reportPadlock),
	kind((*recordv1.Record).GetClearPadlock, Kind{Name: "clear_padlock", Called: "padlock clear", Class: Lifts, May: whoHas(supervisor, manager), Clause: padlockClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: TakenOnLowDisk, Training: NoTraining},
		func(*recordv1.ClearPadlock) About { return About{} },
		func(f *fields, c *recordv1.ClearPadlock) {
			f.name("serial", c.GetSerial())
			f.oneOf("trouble", recordv1.PadlockTrouble_name, int32(c.GetTrouble()))
			f.text("why", c.GetWhy())
		},
		(*step).clearPadlock),
)

var (
	// UnknownPerson is also used for people and their keys.

	PadlockExists     = code.New("PADLOCK_EXISTS", code.Row{Args: "padlock", Clause: padlockClause, Who: "the-signer", Answer: code.Taken})
	PadlockRegistered = code.New("PADLOCK_REGISTERED", code.Row{Args: "padlock owner"})
	// PadlockNotRegistered: an act about the padlock is kept and counts for nothing.
	PadlockNotRegistered = code.New("PADLOCK_NOT_REGISTERED", code.Row{Args: "padlock", Clause: padlockClause, Who: "supervisor-manager", Next: "yardhasp padlock add {padlock} --owner OWNER"})
	// ReportOfUnknownPadlock: the report counts wherever the padlock hangs.
	ReportOfUnknownPadlock = code.New("REPORT_OF_UNKNOWN_PADLOCK", code.Row{Args: "padlock", Clause: padlockClause})
	UnknownReport          = code.New("UNKNOWN_REPORT", code.Row{Args: "padlock", Who: "the-signer", Next: "yardhasp padlock list", Answer: code.Unknown})

	PadlockIssued   = code.New("PADLOCK_ISSUED", code.Row{Args: "padlock person"})
	PadlockTakenIn  = code.New("PADLOCK_TAKEN_IN", code.Row{Args: "padlock"})
	PadlockHangs    = code.New("PADLOCK_HANGS", code.Row{Args: "padlock targets"})
	PadlockReported = code.New("PADLOCK_REPORTED", code.Row{Args: "padlock person"})
	PadlockCleared  = code.New("PADLOCK_CLEARED", code.Row{Args: "padlock person why:text"})
	// IssuedToNobodyEnrolled: the padlock stays with its previous owner.
	IssuedToNobodyEnrolled = code.New("ISSUED_TO_NOBODY_ENROLLED", code.Row{Args: "person padlock", Clause: padlockClause, Who: "a-manager"})
	// StillHanging: the padlock changes hands on paper while it still hangs.
	StillHanging = code.New("STILL_HANGING", code.Row{Args: "padlock targets", Clause: padlockClause})

	KeyOut            = code.New("KEY_OUT", code.Row{Args: "padlock holder"})
	KeyInCustody      = code.New("KEY_IN_CUSTODY", code.Row{Args: "padlock holder"})
	KeyDestroyed      = code.New("KEY_DESTROYED", code.Row{Args: "padlock"})
	KeyHolderUnknown  = code.New("KEY_HOLDER_UNKNOWN", code.Row{Args: "person padlock", Who: "a-manager"})
	SpareKey          = code.New("SPARE_KEY", code.Row{Args: "padlock keys:number keeper", Clause: keyClause, Who: "a-manager", Next: "yardhasp padlock key {padlock} put-back --with PERSON"})
	SpareKeyNoManager = code.New("SPARE_KEY_NO_MANAGER", code.Row{Args: "padlock keys:number keeper", Clause: keyClause, Who: "a-manager", Next: "yardhasp padlock key {padlock} put-back --with PERSON"})
	SpareKeyTaken     = code.New("SPARE_KEY_TAKEN", code.Row{Args: "padlock", Clause: keyClause, Who: "a-manager", Next: "yardhasp padlock key {padlock} put-back --with PERSON"})

	KeyedAlike       = code.New("KEYED_ALIKE", code.Row{Args: "padlock", Clause: padlockClause})
	Combination      = code.New("COMBINATION", code.Row{Args: "padlock", Clause: padlockClause})
	EquipmentPadlock = code.New("EQUIPMENT_PADLOCK", code.Row{Args: "padlock", Clause: padlockClause})

	KeyLost  = code.New("KEY_LOST", code.Row{Args: "padlock what:text", Clause: keyClause, Who: "supervisor-manager", Next: "yardhasp padlock clear {padlock} --trouble key-lost --why WHY"})
	LockLost = code.New("LOCK_LOST", code.Row{Args: "padlock what:text", Clause: keyClause, Who: "supervisor-manager", Next: "yardhasp padlock clear {padlock} --trouble lock-lost --why WHY"})
	OtherUse = code.New("OTHER_USE", code.Row{Args: "padlock what:text", Clause: padlockClause, Who: "supervisor-manager", Next: "yardhasp padlock clear {padlock} --trouble other-use --why WHY"})
)

// Trouble is something reported about a padlock that nobody has cleared.
type Trouble struct {
	Serial string                  `json:"serial"`
	Kind   recordv1.PadlockTrouble `json:"kind"`
	What   string                  `json:"what"`
	At     Mark                    `json:"at"`
}

// troubles are the kinds of trouble with their codes, in the order they are shown.
var troubles = []struct {
	kind recordv1.PadlockTrouble
	code code.Code
}{
	{recordv1.PadlockTrouble_PADLOCK_TROUBLE_KEY_LOST, KeyLost},
	{recordv1.PadlockTrouble_PADLOCK_TROUBLE_LOCK_LOST, LockLost},
	{recordv1.PadlockTrouble_PADLOCK_TROUBLE_OTHER_USE, OtherUse},
}

func troubleKey(serial string, k recordv1.PadlockTrouble) string {
	return fmt.Sprintf("%s %d", serial, k)
}

func (x *step) registerPadlock(p *recordv1.RegisterPadlock) {
	s := x.s
	if s.Padlocks[p.GetSerial()] != nil {
		x.deny(PadlockExists, p.GetSerial(), p.GetSerial())
		return
	}
	for _, id := range []string{p.GetOwner(), p.GetSpareHolder()} {
		if id != "" && s.People[id] == nil {
			x.deny(UnknownPerson, id, id)
		}
	}
	if x.refused() {
		return
	}
	s.Padlocks[p.GetSerial()] = &Padlock{Serial: p.GetSerial(), Owner: p.GetOwner(), KeysCut: p.GetKeysCut(), Spare: p.GetSpare(), SpareHolder: p.GetSpareHolder(), Kind: p.GetKind(), Recorded: x.mark}
	x.out.Flags = append(x.out.Flags, s.recordFlags(s.Padlocks[p.GetSerial()])...)
	x.did(PadlockRegistered, p.GetSerial(), p.GetSerial(), p.GetOwner())
}

// unsafeKey says why the padlock's keys break "one lock, one key, one person". It is nil
// when they do not.
func (s *State) unsafeKey(p *Padlock) *recordv1.Finding {
	switch {
	case p.KeysCut <= 1 || p.Spare == recordv1.SpareKey_SPARE_KEY_DESTROYED:
		return nil
	case p.Spare != recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY:
		return SpareKey.About(p.Serial, p.Serial, p.KeysCut, p.SpareHolder)
	case p.SpareHolder != "" && !s.isManager(p.SpareHolder):
		return SpareKeyNoManager.About(p.Serial, p.Serial, p.KeysCut, p.SpareHolder)
	}
	return nil
}

func (s *State) isManager(id string) bool {
	p := s.People[id]
	return p != nil && p.Has(manager)
}

// padlockFlags lists the rules that a padlock and its keys break now. A yard's equipment
// lock may be of any kind.
func (s *State) padlockFlags(serial string, equipment bool) []*recordv1.Finding {
	var out []*recordv1.Finding
	if p := s.Padlocks[serial]; p != nil && !equipment {
		switch p.Kind {
		case recordv1.PadlockKind_PADLOCK_KIND_KEYED_ALIKE:
			out = append(out, KeyedAlike.About(serial, serial))
		case recordv1.PadlockKind_PADLOCK_KIND_COMBINATION:
			out = append(out, Combination.About(serial, serial))
		case recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT:
			out = append(out, EquipmentPadlock.About(serial, serial))
		}
		if why := s.unsafeKey(p); why != nil {
			out = append(out, why)
		}
		if p.SpareUnexplained {
			out = append(out, SpareKeyTaken.About(serial, serial))
		}
	}
	for _, t := range troubles {
		if r := s.Troubles[troubleKey(serial, t.kind)]; r != nil {
			out = append(out, t.code.About(serial, serial, r.What))
		}
	}
	return out
}

// recordFlags are the flags of a padlock by its own record, where an equipment padlock
// breaks no rule.
func (s *State) recordFlags(p *Padlock) []*recordv1.Finding {
	return s.padlockFlags(p.Serial, p.Kind == recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT)
}

// hangsOn lists where a padlock hangs, by the records.
func (s *State) hangsOn(serial string) []string {
	var out []string
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; h.Padlock == serial && !h.StoodClear() {
			out = append(out, h.Target())
		}
	}
	return out
}

// padlock finds a registered padlock. A fact about any other is kept and counts for
// nothing.
func (x *step) padlock(serial string) *Padlock {
	p := x.s.Padlocks[serial]
	if p == nil {
		x.note(PadlockNotRegistered, serial, serial)
	}
	return p
}

// moveKey records that the second key changed hands. Anybody may say that it is out of
// custody. Only a manager may say that it is safe again.
func (x *step) moveKey(m *recordv1.MoveKey) {
	s, p := x.s, x.padlock(m.GetSerial())
	if h := m.GetHolder(); h != "" && s.People[h] == nil {
		x.note(KeyHolderUnknown, h, h, m.GetSerial())
	}
	if p == nil {
		return
	}
	if m.GetMove() == recordv1.KeyMove_KEY_MOVE_TAKEN_OUT {
		p.KeysCut, p.Spare, p.SpareHolder = max(p.KeysCut, 2), recordv1.SpareKey_SPARE_KEY_ELSEWHERE, m.GetHolder()
		if h := s.Holds[m.GetRemoval()]; h == nil || !code.Is(h.How, OffByRemoval) || h.Padlock != p.Serial {
			p.SpareUnexplained = true
			x.note(SpareKeyTaken, p.Serial, p.Serial)
		}
		x.did(KeyOut, p.Serial, p.Serial, m.GetHolder())
		return
	}
	if !x.ok {
		return
	}
	if m.GetMove() == recordv1.KeyMove_KEY_MOVE_DESTROYED {
		p.Spare, p.SpareHolder, p.SpareUnexplained = recordv1.SpareKey_SPARE_KEY_DESTROYED, "", false
		x.did(KeyDestroyed, p.Serial, p.Serial)
		return
	}
	p.Spare, p.SpareHolder, p.SpareUnexplained = recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, m.GetHolder(), false
	if why := s.unsafeKey(p); why != nil {
		x.out.Flags = append(x.out.Flags, why)
	}
	x.did(KeyInCustody, p.Serial, p.Serial, m.GetHolder())
}

// issuePadlock hands a padlock out or takes it back. It changes no hold.
func (x *step) issuePadlock(i *recordv1.IssuePadlock) {
	s, p := x.s, x.padlock(i.GetSerial())
	if id := i.GetPerson(); id != "" && s.People[id] == nil {
		x.note(IssuedToNobodyEnrolled, id, id, i.GetSerial())
		return
	}
	if p == nil || !x.ok {
		return
	}
	if on := s.hangsOn(p.Serial); len(on) > 0 {
		x.note(StillHanging, p.Serial, p.Serial, on)
	}
	p.Owner = i.GetPerson()
	if p.Owner == "" {
		x.did(PadlockTakenIn, p.Serial, p.Serial)
		return
	}
	x.out.Flags = append(x.out.Flags, s.recordFlags(p)...)
	x.did(PadlockIssued, p.Serial, p.Serial, p.Owner)
}

// reportPadlock takes anybody's word that a key or a lock is lost, or that a lock is
// used for something else. It also takes a report about a padlock that nobody
// registered, because it may be hanging.
func (x *step) reportPadlock(r *recordv1.ReportPadlock) {
	serial := r.GetSerial()
	x.s.Troubles[troubleKey(serial, r.GetTrouble())] = &Trouble{Serial: serial, Kind: r.GetTrouble(), What: r.GetWhat(), At: x.mark}
	for _, t := range troubles {
		if t.kind == r.GetTrouble() {
			x.note(t.code, serial, serial, r.GetWhat())
		}
	}
	if x.s.Padlocks[serial] == nil {
		x.note(ReportOfUnknownPadlock, serial, serial)
	}
	x.did(PadlockReported, serial, serial, x.who.ID)
	if on := x.s.hangsOn(serial); len(on) > 0 {
		x.did(PadlockHangs, serial, serial, on)
	}
}

func (x *step) clearPadlock(c *recordv1.ClearPadlock) {
	key := troubleKey(c.GetSerial(), c.GetTrouble())
	if x.s.Troubles[key] == nil {
		x.deny(UnknownReport, c.GetSerial(), c.GetSerial())
		return
	}
	delete(x.s.Troubles, key)
	x.did(PadlockCleared, c.GetSerial(), c.GetSerial(), x.who.ID, c.GetWhy())
}
