package ledger

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// TieLeast is the least force, in pounds, at which a tag's tie may let go:
	// 50 lb (222 N), 1910.147(c)(5)(ii)(C)(2).
	TieLeast = 50
	// ReadableLeast is the least distance, in mm, at which a tag's signal word is
	// readable: 5 ft (1.52 m), 1910.145(f)(4)(ii).
	ReadableLeast = 1524
	// lockableSince is 2 January 1990, UTC: new, replaced or heavily modified
	// equipment takes a lock from then on, 1910.147(c)(2)(iii).
	lockableSince = 631_238_400_000
	tagClause     = "1910.147(c)(3)(ii); 1910.333(b)(2)(iii)(C)-(D)"
)

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

// tagLacks says what is wrong with the tag itself. On a lock only what was checked
// and failed is; in the place of a lock everything must be known.
func (t *HoldTag) lacks() []string {
	var out []string
	if t.Only && t.Legend == recordv1.Legend_LEGEND_UNSPECIFIED {
		out = append(out, "it has no legend such as \"do not start\" (1910.147(c)(5)(iii))")
	}
	if t.TiePounds < TieLeast && (t.Only || t.TiePounds > 0) {
		out = append(out, fmt.Sprintf("its tie is not known to hold %d lb (222 N) (1910.147(c)(5)(ii))", TieLeast))
	}
	if t.ReadableMM < ReadableLeast && (t.Only || t.ReadableMM > 0) {
		out = append(out, "its signal word is not known to be readable at 5 ft (1.52 m) (1910.145(f)(4)(ii))")
	}
	return out
}

// lacks says why a hold does not count for work on a point, "" when nothing does: a
// tag alone needs the extra means, and the written demonstration where a lock would
// go on; a device that takes no lock needs a tag.
func (s *State) lacks(h *Hold, point string) string {
	p := s.Points[point]
	if p == nil {
		return ""
	}
	switch {
	case h.Box != "" && h.TagOnly():
		return "a tag in the place of a lock on a box holds nothing"
	case !h.TagOnly() && p.NotLockable:
		return point + " takes no lock: hang a tag there, with an extra means"
	case h.Box != "":
		return s.keyOfNoLock(h.Box, point)
	case !h.TagOnly():
		return ""
	}
	var out []string
	if !p.NotLockable && (h.Tag.Demonstration == "" || h.Tag.Demonstration != p.Demonstration) {
		out = append(out, "a lock goes on there, and the tag names no written demonstration recorded for it (1910.147(c)(2)(ii))")
	}
	if len(h.Tag.Means) == 0 {
		out = append(out, "no extra means is recorded: an isolating circuit element taken out, a controlling switch blocked, another disconnect opened, or the handle taken off")
	}
	out = append(out, h.Tag.lacks()...)
	if len(out) == 0 {
		return ""
	}
	return "TAG ONLY on " + point + ": " + strings.Join(out, "; ")
}

// tagFlags notes what the tag breaks; a lock or tag is recorded all the same.
func (x *step) tagFlags(h *Hold) {
	if h.Tag != nil && !h.Tag.Only {
		for _, l := range h.Tag.lacks() {
			x.flag("TAG", h.Target(), "the tag on this lock: "+l, "1910.147(c)(5)(ii)")
		}
	}
	if h.TagOnly() {
		x.flag("TAG_ONLY", h.Target(), "TAG ONLY: it warns and restrains nothing", tagClause)
	}
	for _, p := range x.s.Covers(h) {
		why := x.s.lacks(h, p)
		switch {
		case why == "":
		case h.Box != "" && !h.TagOnly() && why == x.s.keyOfNoLock(h.Box, p):
			x.flag("KEY_OF_NO_LOCK", p, why, boxClause)
		default:
			x.flag("TAG_LACKS", p, why, tagClause)
		}
	}
}

// describePoint says whether a point's device takes a lock.
func (x *step) describePoint(d *recordv1.DescribePoint) {
	p := x.s.Points[d.GetPoint()]
	if p == nil {
		x.refuse("UNKNOWN_POINT", d.GetPoint(), "no such point is registered", "read the label at the panel again", x.who.ID, "")
		return
	}
	if _, drawn := x.s.Graph().Point(p.ID); drawn && d.GetNotLockable() {
		x.refuse("DRAWN_LOCKABLE", p.ID, "the current drawing shows that it takes a lock", "correct the drawing first: what takes no lock isolates nothing in it", "supervisor or manager", "1910.147(c)(2)(i)")
		return
	}
	p.NotLockable, p.Demonstration = d.GetNotLockable(), d.GetDemonstration()
	switch {
	case p.NotLockable && d.GetInstalledUnixMs() >= lockableSince:
		x.flag("TAKES_NO_LOCK", p.ID, "installed, replaced or heavily modified since 2 January 1990, and it takes no lock", "1910.147(c)(2)(iii) (unchecked)")
		fallthrough
	case p.NotLockable:
		x.change("%s takes no lock: TAG ONLY, with an extra means", p.ID)
	case p.Demonstration != "":
		x.change("%s takes a lock; a tag alone counts there with the written demonstration %s", p.ID, p.Demonstration)
	default:
		x.change("%s takes a lock", p.ID)
	}
}

func tagOK(t *recordv1.Tag) bool {
	if _, known := recordv1.Legend_name[int32(t.GetLegend())]; !known || len(t.GetMeans()) > len(recordv1.ExtraMeans_name) {
		return false
	}
	for _, m := range t.GetMeans() {
		if _, known := recordv1.ExtraMeans_name[int32(m)]; !known || m == 0 {
			return false
		}
	}
	return t.GetDemonstration() == "" || Name(t.GetDemonstration())
}
