package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const padlockClause = "1910.147(c)(5)(ii)"

// Trouble is something reported of a padlock that nobody has cleared.
type Trouble struct {
	Serial string                  `json:"serial"`
	Kind   recordv1.PadlockTrouble `json:"kind"`
	What   string                  `json:"what"`
	At     Mark                    `json:"at"`
}

var troubles = []struct {
	kind       recordv1.PadlockTrouble
	code, text string
}{
	{recordv1.PadlockTrouble_PADLOCK_TROUBLE_KEY_LOST, "KEY_LOST", "a key of padlock %s is lost: whoever finds it can take it off"},
	{recordv1.PadlockTrouble_PADLOCK_TROUBLE_LOCK_LOST, "LOCK_LOST", "padlock %s is reported lost: look whether it hangs"},
	{recordv1.PadlockTrouble_PADLOCK_TROUBLE_OTHER_USE, "OTHER_USE", "padlock %s is used for something else than energy control"},
}

func troubleKey(serial string, k recordv1.PadlockTrouble) string {
	return fmt.Sprintf("%s %d", serial, k)
}

func (x *step) registerPadlock(p *recordv1.RegisterPadlock) {
	s := x.s
	if s.Locks[p.GetSerial()] != nil {
		x.refuse("EXISTS", p.GetSerial(), "a padlock with this serial is registered already", "read the serial again: each lock is singular", x.who.ID, padlockClause)
		return
	}
	for _, id := range []string{p.GetOwner(), p.GetSpareHolder()} {
		if id != "" && s.People[id] == nil {
			x.refuse("UNKNOWN_PERSON", id, "nobody of this name is enrolled", "invite them first", "a manager", "")
		}
	}
	if x.refused() {
		return
	}
	s.Locks[p.GetSerial()] = &Padlock{Serial: p.GetSerial(), Owner: p.GetOwner(), KeysCut: p.GetKeysCut(), Spare: p.GetSpare(), SpareHolder: p.GetSpareHolder(), Kind: p.GetKind(), Recorded: x.mark}
	x.out.Flags = append(x.out.Flags, s.recordFlags(s.Locks[p.GetSerial()])...)
	x.change("padlock %s registered to %s", p.GetSerial(), p.GetOwner())
}

// unsafeKey says why the lock's keys break "one lock, one key, one person".
func (s *State) unsafeKey(p *Padlock) string {
	switch {
	case p.KeysCut <= 1 || p.Spare == recordv1.SpareKey_SPARE_KEY_DESTROYED:
		return ""
	case p.Spare != recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY:
		with := ""
		if p.SpareHolder != "" {
			with = ", with " + p.SpareHolder
		}
		return fmt.Sprintf("padlock %s has %d keys and the spare is neither destroyed nor in the manager's custody%s", p.Serial, p.KeysCut, with)
	case p.SpareHolder != "" && !s.isManager(p.SpareHolder):
		return fmt.Sprintf("padlock %s has %d keys and %s, who has the spare, is not a manager", p.Serial, p.KeysCut, p.SpareHolder)
	}
	return ""
}

func (s *State) isManager(id string) bool {
	p := s.People[id]
	return p != nil && p.Has(manager)
}

// padlockFlags lists the rules that a padlock breaks as things stand: of the lock
// itself and of its keys. A yard's equipment lock may be of any kind.
func (s *State) padlockFlags(serial string, equipment bool) []*recordv1.Finding {
	var out []*recordv1.Finding
	add := func(code, text, clause string) {
		out = append(out, &recordv1.Finding{Code: code, Subject: serial, Text: text, Clause: clause})
	}
	if p := s.Locks[serial]; p != nil && !equipment {
		switch p.Kind {
		case recordv1.PadlockKind_PADLOCK_KIND_KEYED_ALIKE:
			add("KEYED_ALIKE", "padlock "+serial+" is one of a keyed-alike set: another key opens it, so it is no personal lock", padlockClause)
		case recordv1.PadlockKind_PADLOCK_KIND_COMBINATION:
			add("COMBINATION", "padlock "+serial+" opens by numbers: whoever knows them opens it, so it is no personal lock", padlockClause)
		case recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT:
			add("EQUIPMENT_PADLOCK", "padlock "+serial+" is a yard's equipment lock and no personal lock", padlockClause)
		}
		if why := s.unsafeKey(p); why != "" {
			add("SPARE_KEY", why, "common practice, no source")
		}
		if p.SpareUnexplained {
			add("SPARE_KEY_TAKEN", "the spare key of padlock "+serial+" left custody for no recorded removal", "common practice, no source")
		}
	}
	for _, t := range troubles {
		if r := s.Troubles[troubleKey(serial, t.kind)]; r != nil {
			clause := padlockClause
			if t.code == "LOCK_LOST" || t.code == "KEY_LOST" {
				clause = "common practice, no source"
			}
			add(t.code, fmt.Sprintf(t.text, serial)+why(r.What), clause)
		}
	}
	return out
}

// recordFlags are those of the lock's own record: an equipment lock is none there.
func (s *State) recordFlags(p *Padlock) []*recordv1.Finding {
	return s.padlockFlags(p.Serial, p.Kind == recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT)
}

// standing lists the rules that a hold's padlock breaks now, whenever it went on;
// a lock recorded in two places shows on both.
func (s *State) standing(h *Hold) []*recordv1.Finding {
	if h.Padlock == "" || !h.Active() {
		return nil
	}
	out := s.padlockFlags(h.Padlock, h.Equipment)
	for _, ref := range sorted(s.active) {
		if o := s.active[ref]; o != h && o.Padlock == h.Padlock && !o.StoodClear() && !h.StoodClear() {
			out = append(out, &recordv1.Finding{Code: "TWO_PLACES", Subject: h.Padlock, Text: "this padlock is recorded on " + o.Target() + " (" + o.Ref + ") too", Clause: padlockClause})
		}
	}
	return out
}

// hangsOn lists where a padlock hangs by the records.
func (s *State) hangsOn(serial string) []string {
	var out []string
	for _, ref := range sorted(s.active) {
		if h := s.active[ref]; h.Padlock == serial && !h.StoodClear() {
			out = append(out, h.Target())
		}
	}
	return out
}

// padlock finds a registered one. A fact about another is kept and counts for
// nothing.
func (x *step) padlock(serial string) *Padlock {
	p := x.s.Locks[serial]
	if p == nil {
		x.flag("UNKNOWN_PADLOCK", serial, "this padlock is not registered: the record is kept and counts for nothing", padlockClause)
	}
	return p
}

// moveKey: the second key changed hands. That it is out counts whoever says so;
// that it is safe again only by a manager's word.
func (x *step) moveKey(m *recordv1.MoveKey) {
	s, p := x.s, x.padlock(m.GetSerial())
	if h := m.GetHolder(); h != "" && s.People[h] == nil {
		x.flag("UNKNOWN_PERSON", h, "nobody of this name is enrolled", "")
	}
	if p == nil {
		return
	}
	if m.GetMove() == recordv1.KeyMove_KEY_MOVE_TAKEN_OUT {
		p.KeysCut, p.Spare, p.SpareHolder = max(p.KeysCut, 2), recordv1.SpareKey_SPARE_KEY_ELSEWHERE, m.GetHolder()
		if h := s.Holds[m.GetRemoval()]; h == nil || h.How != removedHow || h.Padlock != p.Serial {
			p.SpareUnexplained = true
			x.flag("SPARE_KEY_TAKEN", p.Serial, "the spare key left custody and no removal of this padlock is named for it", "common practice, no source")
		}
		x.change("the spare key of padlock %s is with %s", p.Serial, m.GetHolder())
		return
	}
	if !x.ok {
		return
	}
	if m.GetMove() == recordv1.KeyMove_KEY_MOVE_DESTROYED {
		p.Spare, p.SpareHolder, p.SpareUnexplained = recordv1.SpareKey_SPARE_KEY_DESTROYED, "", false
		x.change("the spare key of padlock %s is destroyed", p.Serial)
		return
	}
	p.Spare, p.SpareHolder, p.SpareUnexplained = recordv1.SpareKey_SPARE_KEY_MANAGER_CUSTODY, m.GetHolder(), false
	if why := s.unsafeKey(p); why != "" {
		x.flag("SPARE_KEY", p.Serial, why, "common practice, no source")
	}
	x.change("the spare key of padlock %s is in the custody of %s", p.Serial, m.GetHolder())
}

// issuePadlock hands a padlock out or takes it back. It changes no hold.
func (x *step) issuePadlock(i *recordv1.IssuePadlock) {
	s, p := x.s, x.padlock(i.GetSerial())
	if id := i.GetPerson(); id != "" && s.People[id] == nil {
		x.flag("UNKNOWN_PERSON", id, "nobody of this name is enrolled: the padlock is issued to nobody", padlockClause)
		return
	}
	if p == nil || !x.ok {
		return
	}
	if on := s.hangsOn(p.Serial); len(on) > 0 {
		x.flag("STILL_HANGING", p.Serial, "this padlock is recorded hanging on "+strings.Join(on, ", ")+": that record stands until its holder signs off", padlockClause)
	}
	p.Owner = i.GetPerson()
	if p.Owner == "" {
		x.change("padlock %s returned", p.Serial)
		return
	}
	x.out.Flags = append(x.out.Flags, s.recordFlags(p)...)
	x.change("padlock %s issued to %s", p.Serial, p.Owner)
}

// reportPadlock: anybody says that a key or a lock is lost, or that a lock serves
// something else. Also of a padlock that nobody registered: it may hang.
func (x *step) reportPadlock(r *recordv1.ReportPadlock) {
	x.s.Troubles[troubleKey(r.GetSerial(), r.GetTrouble())] = &Trouble{Serial: r.GetSerial(), Kind: r.GetTrouble(), What: r.GetWhat(), At: x.mark}
	for _, t := range troubles {
		if t.kind == r.GetTrouble() {
			x.flag(t.code, r.GetSerial(), fmt.Sprintf(t.text, r.GetSerial()), padlockClause)
		}
	}
	if x.s.Locks[r.GetSerial()] == nil {
		x.flag("UNKNOWN_PADLOCK", r.GetSerial(), "this padlock is not registered: it is flagged wherever it hangs all the same", padlockClause)
	}
	for _, on := range x.s.hangsOn(r.GetSerial()) {
		x.change("padlock %s hangs on %s by the records", r.GetSerial(), on)
	}
}

func (x *step) clearPadlock(c *recordv1.ClearPadlock) {
	key := troubleKey(c.GetSerial(), c.GetTrouble())
	if x.s.Troubles[key] == nil {
		x.refuse("UNKNOWN_REPORT", c.GetSerial(), "nothing of this kind is reported of this padlock", "read its record again", x.who.ID, "")
		return
	}
	delete(x.s.Troubles, key)
	x.change("padlock %s cleared by %s%s", c.GetSerial(), x.who.ID, why(c.GetWhy()))
}

// PadlockView shows one padlock; nil when there is none of this serial.
func (s *State) PadlockView(serial string) *recordv1.PadlockView {
	p := s.Locks[serial]
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
