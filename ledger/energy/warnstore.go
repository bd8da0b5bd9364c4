package energy

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// storeFigures warns of a store without a known energy or time.
func (s *survey) storeFigures() {
	for i, n := range s.d.GetNodes() {
		store := n.GetStore()
		if store == nil {
			continue
		}
		at := func(field string) string { return fmt.Sprintf("nodes[%d].store%s", i, field) }
		if store.GetWhat() == nil && store.GetJoules() == 0 {
			s.say(at(""), "store %q has no figures, so nobody knows what it holds: say what it is, with its figures, or how many joules", n.GetName())
		}
		if text, field := noTime(store); text != "" {
			s.say(at(field), "store %q %s", n.GetName(), text)
		}
		if store.GetBuildsUp() && store.GetRecheckSeconds() == 0 {
			s.say(at(".builds_up"), "store %q can build up again and nothing says how often to look: give recheck, 1910.147(d)(5)(ii)", n.GetName())
		}
	}
}

// noTime names the missing time: without it a crew cannot know how long to wait.
func noTime(s *recordv1.Store) (text, field string) {
	if s.GetWaitSeconds() > 0 {
		return "", ""
	}
	switch w := s.GetWhat().(type) {
	case *recordv1.Store_Flywheel:
		if w.Flywheel.GetRunDownSeconds() == 0 {
			return "has no run-down: measure it with a watch, nobody can compute it", ".flywheel"
		}
	case *recordv1.Store_HotPart:
		if w.HotPart.GetCoolSeconds() == 0 {
			return "has no time to cool: measure it, nobody can compute it", ".hot_part"
		}
	}
	return "", ""
}

// zoneMedia warns if energy of a medium comes to a part of the zone, but no part of the
// zone has a reading for that medium.
func (s *survey) zoneMedia() {
	for i, z := range s.d.GetZones() {
		var proved []recordv1.Medium
		for _, p := range z.GetParts() {
			proved = append(proved, p.GetMedia()...)
		}
		for j, p := range z.GetParts() {
			field := fmt.Sprintf("zones[%d].parts[%d].media", i, j)
			if len(p.GetMedia()) == 0 {
				s.say(field, "part %q of zone %q has no medium, so nothing proves it dead: say what can hurt there", p.GetNode(), z.GetName())
			}
			n, ok := s.node(s.d.GetYard(), p.GetNode())
			if !ok {
				continue
			}
			for _, x := range s.near[n] {
				w := &s.wires[x]
				m := w.l.GetMedium()
				if w.from == n && w.l.GetOneWay() != "" || slices.Contains(proved, m) {
					continue
				}
				proved = append(proved, m) // say it once
				s.say(field, "%s comes to part %q over link %q and no part of zone %q has a reading for it: add it to the media", mediumWord(m), p.GetNode(), w.l.GetName(), z.GetName())
			}
		}
	}
}
