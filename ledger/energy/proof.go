package energy

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Proof is one reading or try that the zone's parts need before they count as
// proved dead.
type Proof struct {
	// Part is the node read; for a try, the control worked.
	Part string
	// Medium is unspecified for a try: it tests the whole zone.
	Medium recordv1.Medium
	Kind   recordv1.ReadingKind
	// Limit is the highest value that still counts, in Unit; 0 without a unit
	// for sight and for a try.
	Limit float64
	Unit  string
	Text  string
	// Source is where rule and limit come from.
	Source string
}

// proofs is the rule of what proves a medium gone, without the part.
var proofs = map[recordv1.Medium]Proof{
	recordv1.Medium_MEDIUM_ELECTRICITY: {Kind: recordv1.ReadingKind_READING_KIND_METER, Limit: 50, Unit: "V",
		Text:   "measure every phase to phase and every phase to ground, control terminals included; prove the meter on a known source before and after",
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

// Proofs returns what must be read for each exposed part and medium, then what
// must be tried: every control that starts a part of the zone, or a machine
// whose energy comes to one past none of the open points. Without open points
// that is every such machine behind the zone. By part, medium; tries by control.
//
// A try never proves alone: it stands beside the readings, not for them.
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

func (g *Graph) proofs(z *zone, b *behind) []Proof {
	var out []Proof
	for _, part := range z.Parts {
		for _, m := range part.Media {
			p := proofs[m]
			p.Part, p.Medium = part.Node, m
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
				Text:   fmt.Sprintf("work %s: nothing may move or light up; set it back to off", control.id),
				Source: "29 CFR 1910.333(b)(2)(iv)(A)"})
			break
		}
	}
	return out
}
