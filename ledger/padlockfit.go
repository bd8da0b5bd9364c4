package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// UnfitPadlock: what a person hung on a point is no personal lock. because says why.
var UnfitPadlock = code.New("UNFIT_PADLOCK", code.Row{Args: "person point padlock job because:why", Clause: padlockClause, Who: "{person}", Next: "yardhasp lock {point} --job {job} --padlock PADLOCK"})

// unfitCodes are the flags of a padlock that is no personal lock, 1910.147(c)(5)(ii)
// and (d)(4)(i), or of which the records don't tell where it hangs. A spare or lost
// key is common practice alone: it stays a flag.
var unfitCodes = []code.Code{KeyedAlike, Combination, EquipmentPadlock, OtherUse, LockLost}

// standing lists the rules that a hold's padlock breaks now, whenever it went on;
// a lock recorded in two places shows on both.
func (s *State) standing(h *Hold) []*recordv1.Finding {
	if h.Padlock == "" || !h.Active() {
		return nil
	}
	out := s.padlockFlags(h.Padlock, h.Equipment)
	for _, ref := range sorted(s.active) {
		if o := s.active[ref]; o != h && o.Padlock == h.Padlock && !o.StoodClear() && !h.StoodClear() {
			out = append(out, TwoPlaces.About(h.Padlock, h.Padlock, o.Target(), o.Ref))
		}
	}
	return out
}

// unfit lists why a hold's padlock stands for no lock of its holder's own.
func (s *State) unfit(h *Hold) []*recordv1.Finding {
	if h.Padlock == "" || h.TagOnly() {
		return nil
	}
	out := slices.DeleteFunc(s.padlockFlags(h.Padlock, false), func(f *recordv1.Finding) bool { return !code.Is(f, unfitCodes...) })
	if p := s.Padlocks[h.Padlock]; p != nil && p.Owner != "" && p.Owner != h.Holder {
		out = append(out, OthersPadlock.About(h.Padlock, h.Padlock, p.Owner))
	}
	for _, ref := range sorted(s.active) {
		// The same lock recorded twice at one target is one lock (decisions.md 10).
		if o := s.active[ref]; o.Padlock == h.Padlock && o.Target() != h.Target() && !o.StoodClear() {
			out = append(out, TwoPlaces.About(h.Padlock, h.Padlock, o.Target(), o.Ref))
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
		cs = append(cs, UnfitPadlock.About(point, h.Holder, point, h.Padlock, h.Job, why))
	}
	return cs
}
