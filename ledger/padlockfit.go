package ledger

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// unfitCodes are the flags of a padlock that is no personal lock, 1910.147(c)(5)(ii)
// and (d)(4)(i), or of which the records don't tell where it hangs. A spare or lost
// key is common practice alone: it stays a flag.
var unfitCodes = []string{"KEYED_ALIKE", "COMBINATION", "EQUIPMENT_PADLOCK", "OTHER_USE", "LOCK_LOST"}

// unfit lists why a hold's padlock stands for no lock of its holder's own.
func (s *State) unfit(h *Hold) []*recordv1.Finding {
	if h.Padlock == "" || h.TagOnly() {
		return nil
	}
	out := slices.DeleteFunc(s.padlockFlags(h.Padlock, false), func(f *recordv1.Finding) bool { return !slices.Contains(unfitCodes, f.GetCode()) })
	if p := s.Locks[h.Padlock]; p != nil && p.Owner != "" && p.Owner != h.Holder {
		out = append(out, &recordv1.Finding{Code: "OTHERS_PADLOCK", Subject: h.Padlock, Text: "padlock " + h.Padlock + " belongs to " + p.Owner, Clause: padlockClause})
	}
	for _, ref := range sorted(s.active) {
		// The same lock recorded twice at one target is one lock (decisions.md 10).
		if o := s.active[ref]; o.Padlock == h.Padlock && o.Target() != h.Target() && !o.StoodClear() {
			out = append(out, &recordv1.Finding{Code: "TWO_PLACES", Subject: h.Padlock, Text: "padlock " + h.Padlock + " is recorded on " + o.Target() + " (" + o.Ref + ") too", Clause: padlockClause})
		}
	}
	return out
}

// unfitPadlocks lists why no lock of somebody's on a point is fit: one that is, is
// enough.
func (s *State) unfitPadlocks(mine []*Hold, point string) []*recordv1.Finding {
	var cs []*recordv1.Finding
	for _, h := range mine {
		why := s.unfit(h)
		if len(why) == 0 {
			return nil
		}
		for _, f := range why {
			cs = append(cs, cond(f.GetCode(), point, f.GetText(), h.Holder+" hangs a padlock that is theirs alone and signs the other off", h.Holder, f.GetClause()))
		}
	}
	return cs
}
