package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// UnfitPadlock: what a person hung on a point is not a personal lock. The argument
// because says why.
var UnfitPadlock = code.New("UNFIT_PADLOCK", code.Row{Args: "person point padlock job because:why", Clause: padlockClause, Who: "{person}", Next: "yardhasp lock {point} --job {job} --padlock PADLOCK"})

// unfitCodes are the flags that mean a padlock is not a personal lock,
// 1910.147(c)(5)(ii) and (d)(4)(i), or that the records do not tell where it hangs. A
// spare or lost key is a matter of common practice only, so it stays a flag.
var unfitCodes = []code.Code{KeyedAlike, Combination, EquipmentPadlock, OtherUse, LockLost}

// standing lists the rules that a hold's padlock breaks now, whenever it went on. A lock
// recorded in two places shows this on both.
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

// unfit lists why a hold's padlock does not count as its holder's own lock.
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

// unfitPadlocks lists why none of these locks on a point is fit. It is empty when at
// least one is fit.
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
