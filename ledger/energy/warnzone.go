package energy

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// entries warns of a zone that touches the grain of an entered zone but is not marked as
// entered. It is the same bin, and would have no permit of its own, 1910.272(g)(1)(i).
func (s *survey) entries() {
	entered := map[string]string{} // node -> the zone
	for _, z := range s.d.GetZones() {
		if z.GetEntered() {
			for _, n := range grainOf(z) {
				entered[n] = z.GetName()
			}
		}
	}
	for i, z := range s.d.GetZones() {
		for _, n := range grainOf(z) {
			if o := entered[n]; o != "" && !z.GetEntered() && z.GetWaivedBy() == "" {
				s.say(fmt.Sprintf("zones[%d].entered", i), "zone %q touches the grain at %s, as %q does, which people enter: mark it entered too; as it is, no work starts there, for no permit can be issued by its name", z.GetName(), n, o)
				break
			}
		}
	}
}

// grainOf lists the nodes whose grain reaches people in a zone.
func grainOf(z *recordv1.Zone) []string {
	var out []string
	for _, p := range z.GetParts() {
		if slices.Contains(p.GetMedia(), recordv1.Medium_MEDIUM_GRAIN) {
			out = append(out, p.GetNode())
		}
	}
	return out
}
