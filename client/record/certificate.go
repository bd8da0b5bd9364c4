package record

import (
	"fmt"
	"strconv"
	"strings"
)

// locks lists each lock with its times on and off.
func (h *History) locks(b *body) {
	b.section("locks", "1910.147(d)(4), (e)(3)")
	b.none(len(h.Holds))
	for _, v := range h.Holds {
		b.item(fmt.Sprintf("%s on %s, lock %s, padlock %s, job %s", h.who(v.Holder), v.Target, v.Ref, orDash(v.Padlock), orDash(v.Job)))
		off := "STILL ON as of this record"
		if v.OffUnixMs != 0 {
			by := orDash(v.OffBy)
			if len(v.OffWith) > 0 {
				by += ", signed by " + strings.Join(v.OffWith, ", ") + " too"
			}
			off = fmt.Sprintf("off %s by %s: %s", stamp(v.OffUnixMs), by, v.How)
		}
		b.sub("on", stamp(v.OnUnixMs)+"; "+off)
	}
}

// readings lists each reading with its instrument, including those that do not count.
func (h *History) readings(b *body) {
	b.section("readings", "1910.147(d)(6), 1910.333(b)(2)(iv)(B)")
	b.none(len(h.Readings))
	for _, r := range h.Readings {
		what := r.Kind
		if r.Medium != "" {
			what = r.Medium + " by " + r.Kind
		}
		if r.Unit != "" {
			what += ", " + strconv.FormatFloat(r.Value, 'f', -1, 64) + " " + r.Unit
		}
		b.item(fmt.Sprintf("%s, job %s, %s: %s", stamp(r.AtUnixMs), orDash(r.Job), r.Part, what))
		if r.Unit != "" {
			b.sub("instrument", fmt.Sprintf("%s, proved before %s, proved after %s", orDash(r.Instrument), yesNo(r.ProvedBefore), yesNo(r.ProvedAfter)))
		}
		by := h.who(r.By)
		if r.Moved {
			by += "; SOMETHING MOVED, LIT OR FLOWED"
		}
		if !r.Counts {
			by += "; DOES NOT COUNT, see its entry"
		}
		b.sub("by", by)
	}
}

// removals shows how the three duties of each removal were done.
func (h *History) removals(b *body) {
	b.section("removals of an absent person's lock", "1910.147(e)(3)")
	b.none(len(h.Removals))
	for _, r := range h.Removals {
		b.item(fmt.Sprintf("%s: lock %s of %s on %s, ordered off by %s and %s", stamp(r.AtUnixMs), r.Lock, h.who(r.Holder), orDash(r.Target), h.who(r.By), h.who(r.Second)))
		b.sub("(i) verified not at the facility", r.NotHere)
		b.sub("(ii) efforts to reach the person", r.Tried)
		told := "NOT YET: nothing recorded"
		switch {
		case r.OwnerUnknown:
			told = "NOT POSSIBLE: the owner was not known"
		case r.ToldUnixMs != 0:
			told = stamp(r.ToldUnixMs) + ", by their own signature"
		}
		b.sub("(iii) told before working again", told)
	}
}

func (h *History) handOvers(b *body) {
	b.section("hand-overs", "1910.147(f)(4)")
	b.none(len(h.HandOvers))
	for _, v := range h.HandOvers {
		b.item(fmt.Sprintf("%s on %s: lock %s of %s came off, lock %s of %s stayed on", stamp(v.AtUnixMs), orDash(v.Target), v.Off, h.who(v.OffHolder), v.On, h.who(v.OnHolder)))
	}
}

// training lists what a certificate of training needs: each name, and the dates.
func (h *History) training(b *body) {
	b.section("certificates of training", "1910.147(c)(7)(iv) (unchecked): name and dates")
	b.none(len(h.Training))
	for _, t := range h.Training {
		text := fmt.Sprintf("employee %s: recorded %s, current until %s", h.who(t.Person), stamp(t.AtUnixMs), stamp(t.UntilUnixMs))
		if t.Qualified {
			text += ", qualified to test electrical parts"
		}
		b.item(text)
		b.sub("certified by", h.who(t.By))
	}
}

// inspections leaves open what the ledger has no record of. A certificate must never be
// made up.
func (h *History) inspections(b *body) {
	b.section("certificates of periodic inspection", "1910.147(c)(6)(ii): machine, date, employees, inspector")
	recorded := 0
	for _, e := range h.Events {
		if strings.Contains(e.Kind, "inspect") {
			recorded++
			b.item(fmt.Sprintf("%s by %s, %s", stamp(e.TimeUnixMs), h.who(e.Signer), e.State()))
			for _, f := range e.Details {
				b.sub(f.Name, f.Value)
			}
		}
	}
	b.none(recorded)
	for _, m := range h.Machines {
		b.item("to be filled in. Machine: " + m.Zone)
		b.sub("employees who locked or signed on there", orNothing(h.whoAll(m.Employees)))
		b.sub("date inspected, employees included, inspector", "______________________________")
	}
}

func orNothing(s string) string {
	if s == "" {
		return nothing
	}
	return s
}

// entries lists every picked entry in order.
func (h *History) entries(b *body) {
	b.section("entries", h.Filter.String())
	b.none(len(h.Events))
	for _, e := range h.Events {
		text := fmt.Sprintf("%d, %s: %s by %s", e.Index, stamp(e.TimeUnixMs), strings.ReplaceAll(e.Kind, "_", " "), orDash(e.Signer))
		if e.Ref != "" {
			text += ", record " + e.Ref
		}
		if !e.Accepted {
			text += ", REFUSED"
		}
		if e.ClockDoubt {
			text += ", CLOCK IN DOUBT"
		}
		b.item(text)
		b.sub("changed", join(Sentences(e.Changes)))
		b.sub("FLAGGED", join(Sentences(e.Flags)))
		b.sub("not met", join(Sentences(e.Unmet)))
		var fields []string
		for _, f := range e.Details {
			fields = append(fields, f.Name+" "+f.Value)
		}
		b.sub("signed", strings.Join(fields, "; "))
	}
}
