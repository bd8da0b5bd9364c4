package energy

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// NotReadings is said once wherever proofs are listed.
const NotReadings = "pilot lamps, panel meters and screens are no readings, and a try alone proves nothing"

// Proof is one reading or try that the zone needs before it counts as proved dead.
type Proof struct {
	// Part is the node to read, an exposed part or a store. For a try it is the control
	// to work.
	Part string
	// Medium is unspecified for a try: it tests the whole zone.
	Medium recordv1.Medium
	Kind   recordv1.ReadingKind
	// Limit is the highest value that still counts, in Unit. For electricity the limit
	// itself is live (see LimitText). It is 0 without a unit for a sight and for a try.
	Limit float64
	Unit  string
	Text  string
	// Source is where the rule and the limit come from.
	Source string
}

// LimitText says a proof's limit in words: "below 50 V", "at most 0.3 ppm", "zero on the
// gauge", or "-" where nothing is measured. Only parts below 50 V need not be
// de-energised, 29 CFR 1910.333(a)(1) (unchecked) and NEC 460.6.
func LimitText(m recordv1.Medium, limit float64, unit string) string {
	switch {
	case unit == "":
		return "-"
	case m == recordv1.Medium_MEDIUM_ELECTRICITY:
		return fmt.Sprintf("below %g %s", limit, unit)
	case limit == 0:
		return "zero on the gauge"
	}
	return fmt.Sprintf("at most %g %s", limit, unit)
}

// LimitText says the proof's limit in words.
func (p Proof) LimitText() string { return LimitText(p.Medium, p.Limit, p.Unit) }

// proofs is the rule for what proves that a medium is gone, without the part.
var proofs = map[recordv1.Medium]Proof{
	recordv1.Medium_MEDIUM_ELECTRICITY: {Kind: recordv1.ReadingKind_READING_KIND_METER, Limit: 50, Unit: "V",
		Text:   "measure every phase to phase and every phase to ground at the point of work, control terminals included, below 50 V; prove the meter on a known source before and after",
		Source: "29 CFR 1910.333(b)(2)(iv)(B); NFPA 70E 120.5(7), 120.6(7) in the 2024 edition"},
	recordv1.Medium_MEDIUM_MOTION: {Kind: recordv1.ReadingKind_READING_KIND_SIGHT,
		Text:   "see that it has stopped, is blocked and can't move",
		Source: "29 CFR 1910.147(d)(5)(i), (d)(6)"},
	recordv1.Medium_MEDIUM_GRAIN: {Kind: recordv1.ReadingKind_READING_KIND_SIGHT,
		Text:   "see that no grain flows and that every path is closed",
		Source: "29 CFR 1910.147(d)(6)"},
	recordv1.Medium_MEDIUM_AIR: {Kind: recordv1.ReadingKind_READING_KIND_GAUGE, Unit: "kPa",
		Text:   "read zero gauge pressure with the drain open",
		Source: "29 CFR 1910.147(d)(5)(i), (d)(6)"},
	recordv1.Medium_MEDIUM_HYDRAULIC: {Kind: recordv1.ReadingKind_READING_KIND_GAUGE, Unit: "kPa",
		Text:   "read zero gauge pressure with the load down or blocked",
		Source: "29 CFR 1910.147(d)(5)(i), (d)(6)"},
	recordv1.Medium_MEDIUM_HEAT: {Kind: recordv1.ReadingKind_READING_KIND_THERMOMETER, Limit: 50, Unit: "°C",
		Text:   "measure the surfaces people can touch",
		Source: "common practice, no source"},
	recordv1.Medium_MEDIUM_FUEL_GAS: {Kind: recordv1.ReadingKind_READING_KIND_GAUGE, Unit: "kPa",
		Text:   "read zero gauge pressure between the closed valves and at the work, with the bleed open",
		Source: "29 CFR 1910.147(d)(5)(i), (d)(6)"},
	recordv1.Medium_MEDIUM_CHEMICAL: {Kind: recordv1.ReadingKind_READING_KIND_GAS, Limit: 0.3, Unit: "ppm",
		Text:   "measure phosphine at the top, the middle and the bottom",
		Source: "29 CFR 1910.1000 Table Z-1"},
}

// Proofs returns what must be read and tried. It begins with the readings for each
// exposed part and medium, then for each store behind the open points. Then come the
// tries: every control that starts a part of the zone, or a machine whose energy comes
// to a part without crossing an open point. Without open points that is every such
// machine behind the zone. Parts are sorted by part and medium, stores by id, tries by
// control.
//
// A try never proves anything alone: it stands beside the readings. Nor does a wait.
// Each store has a reading or a sight of its own, unless it is an exposed part that is
// read in the same way already.
func (g *Graph) Proofs(zone string, open ...string) ([]Proof, error) {
	z, err := g.zone(zone)
	if err != nil {
		return nil, err
	}
	o, err := g.opened(open)
	if err != nil {
		return nil, err
	}
	return g.proofs(z, g.behind(z, func(p int32) bool { return o[p] })), nil
}

// proofKey is what identifies a reading.
type proofKey struct {
	part   string
	medium recordv1.Medium
	kind   recordv1.ReadingKind
}

func (p Proof) key() proofKey { return proofKey{p.Part, p.Medium, p.Kind} }

func (g *Graph) proofs(z *zone, b *behind) []Proof {
	var out []Proof
	seen := map[proofKey]bool{}
	starters := g.starters(z)
	for _, part := range z.Parts {
		for _, m := range part.Media {
			p := proofs[m]
			p.Part, p.Medium = part.Node, m
			if by := starters[part.Node]; m == recordv1.Medium_MEDIUM_ELECTRICITY && len(by) > 0 {
				p.Text += "; the control terminals are those of " + firstFew(by)
			}
			seen[p.key()] = true
			out = append(out, p)
		}
	}
	for i := range g.nodes {
		s := g.nodes[i].store
		if s == nil || !b.in[i] {
			continue
		}
		if p := storeProof(s); !seen[p.key()] {
			out = append(out, p)
		}
	}
	for i := range g.nodes {
		control := &g.nodes[i]
		for _, m := range control.starts {
			if !b.in[m] { // every part is in
				continue
			}
			out = append(out, Proof{Part: control.id, Kind: recordv1.ReadingKind_READING_KIND_TRY,
				Text:   tryText(control.id, g.startKind[i]),
				Source: "29 CFR 1910.333(b)(2)(iv)(A)"})
			break
		}
	}
	return out
}

// starters lists the controls that start each part of the zone, by part.
func (g *Graph) starters(z *zone) map[string][]string {
	out := map[string][]string{}
	for i := range g.nodes {
		for _, m := range g.nodes[i].starts {
			part := g.nodes[m].id
			if by := out[part]; z.exposes(part) && (len(by) == 0 || by[len(by)-1] != g.nodes[i].id) {
				out[part] = append(by, g.nodes[i].id)
			}
		}
	}
	return out
}

// exposes reports whether a node is a part of the zone.
func (z *zone) exposes(id string) bool {
	_, ok := slices.BinarySearchFunc(z.Parts, id, func(p Part, id string) int { return cmp.Compare(p.Node, id) })
	return ok
}

// tryText says how a control is tried.
func tryText(control string, k recordv1.StartKind) string {
	const after = "nothing may move or light up; then set the control back to off"
	switch k {
	case recordv1.StartKind_START_KIND_REMOTE:
		return fmt.Sprintf("people clear first, and in word with whoever stands there; work %s, which starts from afar: %s", control, after)
	case recordv1.StartKind_START_KIND_AUTOMATIC:
		return fmt.Sprintf("people clear first; make %s, which starts by itself, call for a start, and wait longer than its delay: %s", control, after)
	}
	return fmt.Sprintf("people clear first; work %s: %s", control, after)
}

// firstFew lists the ids, or only the first few if there are many.
func firstFew(ids []string) string {
	const few = 8
	if len(ids) <= few {
		return strings.Join(ids, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(ids[:few], ", "), len(ids)-few)
}
