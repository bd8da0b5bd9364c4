package ledger_test

import (
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// The random histories' part for zones that an older drawing shows wider
// (decisions.md 9): the office of eastfork was once fed from stonebend's bus.

func oldBinDrawing() *recordv1.Drawing {
	d := binDrawing()
	d.Links = append(d.Links, &recordv1.Link{Name: "old-feed", From: "stonebend/bus", To: "office", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, OneWay: "a diode",
		Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc-1", Device: "old", Lockable: true, Holes: 6}})
	return d
}

// olderOf lists what reaches a zone on that drawing and not on the present one.
func olderOf(zone string) []string {
	points := slices.Compact(slices.Sorted(slices.Values(reachBy(zone, oldBinDrawing()))))
	return slices.DeleteFunc(points, func(p string) bool { return slices.Contains(reachOf[zone], p) })
}

// reaches: by the drawings, or by the older one as long as nobody took that out.
func (o *oracle) reaches(zone, p string) bool {
	return slices.Contains(reachOf[zone], p) || slices.Contains(o.older[zone], p)
}

// narrowed: at the zone's yard, by a supervisor or manager, on walked drawings, with
// nobody signed on there or on a job that nobody knows, and no lock on for it.
func (o *oracle) narrowed(f fact, n *recordv1.NarrowZone, bad func(string, ...any)) {
	z := n.GetZone()
	o.checks["zone narrowed"]++
	if ledger.YardOf(z) != f.yard || !hasRole(f.by, supervisor, manager) {
		bad("they may not, or not at %s", f.yard)
	}
	for y := range o.drawn {
		if !o.walked[y] {
			bad("nobody has walked the drawing of %s", y)
		}
	}
	there := func(job string) bool { return o.jobs[job] == nil || o.jobs[job].zone == z }
	for ref, s := range o.ons {
		if !s.off && there(s.job) {
			bad("%s is signed on (%s)", s.by, ref)
		}
	}
	for ref, h := range o.holds {
		if !h.off && o.jobs[h.job] != nil && there(h.job) {
			bad("the lock %s is on for work there", ref)
		}
	}
	for _, p := range n.GetPoints() {
		if !slices.Contains(o.older[z], p) {
			bad("%s is not of an older drawing alone", p)
		}
	}
	o.older[z] = slices.DeleteFunc(slices.Clone(o.older[z]), func(p string) bool { return slices.Contains(n.GetPoints(), p) })
}

// dutyNarrow takes out what the older drawing shows, or what the present one does.
func (h *history) dutyNarrow(d deed) {
	z := h.pick(deskZone, binZone, zone)
	points := h.o.older[z]
	if len(points) == 0 || h.rng.IntN(4) == 0 {
		points = append(slices.Clone(points), h.pick(reachOf[z]...))
	}
	h.do(h.pick("mara", "nia", "mara", "nia", d.who), h.pick(home(z), home(z), home(z), d.yard), actNarrow(z, points...))
}
