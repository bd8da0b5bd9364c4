package ledger

import (
	"slices"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// TieLeast is the least force, in pounds, at which a tag's tie may let go:
	// 50 lb (222 N), 1910.147(c)(5)(ii)(C)(2).
	TieLeast = 50
	// ReadableLeast is the least distance, in mm, at which a tag's signal word is
	// readable: 5 ft (1.52 m), 1910.145(f)(4)(ii).
	ReadableLeast = 1524
	// lockableSince is 2 January 1990, UTC. From then on, new, replaced or heavily
	// modified equipment must take a lock, 1910.147(c)(2)(iii).
	lockableSince = 631_238_400_000
	tagClause     = "1910.147(c)(3)(ii); 1910.333(b)(2)(iii)(C)-(D)"
)

var (
	// TagOnly: a tag hangs in the place of a lock, even if it has extra means beside it.
	TagOnly = code.New("TAG_ONLY", code.Row{Args: "target", Clause: tagClause})
	// TagFails: the tag on a lock fails a check. The lock still counts.
	TagFails = code.New("TAG_FAILS", code.Row{Args: "target because:why", Clause: padlockClause})

	// TagLacks: a tag in the place of a lock does not protect its holder yet.
	TagLacks = code.New("TAG_LACKS", code.Row{Args: "point person because:why", Clause: tagClause, Who: "{person}", Next: "yardhasp lock {point} --tag-only --legend LEGEND --means MEANS --tie-pounds POUNDS --readable-mm MM"})
	TagOnBox = code.New("TAG_ON_BOX", code.Row{Args: "point box person", Clause: tagClause, Who: "{person}", Next: "yardhasp lock --box {box} --padlock PADLOCK"})
	// NoLockGoesOn: a lock is recorded on a device that takes no lock.
	NoLockGoesOn = code.New("NO_LOCK_GOES_ON", code.Row{Args: "point person", Clause: tagClause, Who: "{person}", Next: "yardhasp lock {point} --tag-only --legend LEGEND --means MEANS --tie-pounds POUNDS --readable-mm MM"})

	NoLegend        = code.New("NO_LEGEND", code.Row{Clause: "1910.147(c)(5)(iii)"})
	TieWeak         = code.New("TIE_WEAK", code.Row{Args: "pounds:number least:number", Clause: "1910.147(c)(5)(ii)"})
	NotReadable     = code.New("NOT_READABLE", code.Row{Args: "mm:number least:number", Clause: "1910.145(f)(4)(ii)"})
	NoDemonstration = code.New("NO_DEMONSTRATION", code.Row{Args: "point", Clause: "1910.147(c)(2)(ii)"})
	NoExtraMeans    = code.New("NO_EXTRA_MEANS", code.Row{Clause: tagClause})
)

// HoldsNothing are the reasons why a hanging lock or tag does not protect its holder at
// a point. It still stands against starts.
var HoldsNothing = []code.Code{TagLacks, TagOnBox, NoLockGoesOn, KeyOfNoLock, KeyOfOlderLock}

// HoldTag is the tag on a lock, or in its place.
type HoldTag struct {
	Legend        recordv1.Legend       `json:"legend,omitempty"`
	Only          bool                  `json:"only,omitempty"`
	Means         []recordv1.ExtraMeans `json:"means,omitempty"`
	Demonstration string                `json:"demonstration,omitempty"`
	TiePounds     uint32                `json:"tie_pounds,omitempty"`
	ReadableMM    uint32                `json:"readable_mm,omitempty"`
}

func tagOf(t *recordv1.Tag) *HoldTag {
	if t == nil {
		return nil
	}
	return &HoldTag{Legend: t.GetLegend(), Only: t.GetOnly(), Means: slices.Clone(t.GetMeans()), Demonstration: t.GetDemonstration(), TiePounds: t.GetTiePounds(), ReadableMM: t.GetReadableMm()}
}

func (t *HoldTag) view() *recordv1.Tag {
	if t == nil {
		return nil
	}
	return &recordv1.Tag{Legend: t.Legend, Only: t.Only, Means: slices.Clone(t.Means), Demonstration: t.Demonstration, TiePounds: t.TiePounds, ReadableMm: t.ReadableMM}
}

// TagOnly reports whether a tag hangs in the place of a lock.
func (h *Hold) TagOnly() bool { return h.Tag != nil && h.Tag.Only }

// lacks says what is wrong with the tag itself. On a lock, only a check that was made
// and failed counts. In the place of a lock, every check must be known and passed.
func (t *HoldTag) lacks(target string) []*recordv1.Finding {
	var out []*recordv1.Finding
	if t.Only && t.Legend == recordv1.Legend_LEGEND_UNSPECIFIED {
		out = append(out, NoLegend.About(target))
	}
	if t.TiePounds < TieLeast && (t.Only || t.TiePounds > 0) {
		out = append(out, TieWeak.About(target, t.TiePounds, TieLeast))
	}
	if t.ReadableMM < ReadableLeast && (t.Only || t.ReadableMM > 0) {
		out = append(out, NotReadable.About(target, t.ReadableMM, ReadableLeast))
	}
	return out
}

// lacks says why a hold does not protect its holder at a point. It is nil when it does.
// A tag alone needs the extra means. If the device takes a lock, a tag alone also needs
// the written demonstration. A device that takes no lock needs a tag.
func (s *State) lacks(h *Hold, point string) *recordv1.Finding {
	p := s.Points[point]
	switch {
	case p == nil:
		return nil
	case h.Box != "" && h.TagOnly():
		return TagOnBox.About(point, point, h.Box, h.Holder)
	case !h.TagOnly() && p.NotLockable:
		return NoLockGoesOn.About(point, point, h.Holder)
	case h.Box != "":
		return s.keyOfNoLock(h.Box, point, h.Holder)
	case !h.TagOnly():
		return nil
	}
	var why []*recordv1.Finding
	if !p.NotLockable && (h.Tag.Demonstration == "" || h.Tag.Demonstration != p.Demonstration) {
		why = append(why, NoDemonstration.About(point, point))
	}
	if len(h.Tag.Means) == 0 {
		why = append(why, NoExtraMeans.About(point))
	}
	why = append(why, h.Tag.lacks(point)...)
	if len(why) == 0 {
		return nil
	}
	return TagLacks.About(point, point, h.Holder, why)
}

// tagFlags flags what the tag breaks. The lock or tag is recorded all the same.
func (x *step) tagFlags(h *Hold) {
	if h.Tag != nil && !h.Tag.Only {
		if why := h.Tag.lacks(h.Target()); len(why) > 0 {
			x.note(TagFails, h.Target(), h.Target(), why)
		}
	}
	if h.TagOnly() {
		x.note(TagOnly, h.Target(), h.Target())
	}
	for _, p := range x.s.Covers(h) {
		if why := x.s.lacks(h, p); why != nil {
			x.out.Flags = append(x.out.Flags, why)
		}
	}
}

// tag checks that a tag's legend and extra means are those of the contract.
func (f *fields) tag(field string, t *recordv1.Tag) {
	f.optionalOneOf(field+".legend", recordv1.Legend_name, int32(t.GetLegend()))
	f.must(len(t.GetMeans()) <= len(recordv1.ExtraMeans_name), field+".means", "form-known")
	for _, m := range t.GetMeans() {
		f.oneOf(field+".means", recordv1.ExtraMeans_name, int32(m))
	}
	f.optionalName(field+".demonstration", t.GetDemonstration())
}
