package ledger

import "slices"

// place is a physical space that people can be in. It collects all zone names, past and
// present, that ever meant that space (decisions.md 32).
//
// Two zones are one place when some drawing exposed people in both zones to the grain,
// the air or the chemical of the same node. Any yard and any revision of a drawing
// counts. So a name that meant another node in an earlier drawing ties the two nodes
// together.
//
// A statement that one device is enough to isolate does not split a place: people in
// both zones still stand in the same grain. A spout or a duct between two nodes does not
// join their zones. If it did, a whole yard would become one place.
type place struct {
	zones []string
	reach []string // the points that may reach any of them
}

// remember adds the nodes that the current drawings mean by each zone name.
func (s *State) remember() {
	for _, id := range s.Graph().Zones() {
		z, _ := s.Graph().Zone(id)
		if s.Meant[id] == nil {
			s.Meant[id] = map[string]bool{}
		}
		for _, p := range z.Parts {
			s.Meant[id][p.Node] = s.Meant[id][p.Node] || p.Surrounds()
		}
	}
}

// joinPlaces works out the places from everything that the zone names ever meant.
func (s *State) joinPlaces() {
	names := sorted(s.Meant)
	up := make([]int, len(names))
	root := func(i int) int {
		for up[i] != i {
			up[i] = up[up[i]]
			i = up[i]
		}
		return i
	}
	at := map[string]int{} // node -> a zone exposed to its grain, air or chemical
	for i, z := range names {
		up[i] = i
		for node, surrounds := range s.Meant[z] { // the order does not matter: the sets come out the same
			if !surrounds {
				continue
			}
			if other, known := at[node]; known {
				up[root(i)] = root(other)
			} else {
				at[node] = i
			}
		}
	}
	of := make([]*place, len(names))
	s.places = make(map[string]*place, len(names))
	for i, z := range names {
		r := root(i)
		if of[r] == nil {
			of[r] = &place{}
		}
		of[r].zones = append(of[r].zones, z)
		s.places[z] = of[r]
	}
	s.gatherReach()
}

// gatherReach collects the points that may reach each place. Call it only on places just
// made: copies of the state share a place once it is in use.
func (s *State) gatherReach() {
	for _, id := range sorted(s.places) {
		p := s.places[id]
		if p.zones[0] == id {
			p.reach = nil
			for _, z := range p.zones {
				p.reach = append(p.reach, s.Reach[z]...)
			}
			p.reach = union(p.reach, nil)
		}
	}
}

// reachOf lists the points that may reach the place of a zone.
func (s *State) reachOf(zone string) []string {
	if p := s.places[zone]; p != nil {
		return p.reach
	}
	return s.Reach[zone]
}

// PlaceOf lists, sorted, all zone names that ever meant the place of a zone, its own
// name included. A zone that no drawing ever showed is alone in its place.
func (s *State) PlaceOf(zone string) []string {
	if p := s.places[zone]; p != nil {
		return slices.Clone(p.zones)
	}
	return []string{zone}
}

// samePlace reports whether two zone names ever meant one place.
func (s *State) samePlace(a, b string) bool {
	return a == b || s.places[a] != nil && s.places[a] == s.places[b]
}

// drawn reports whether a current drawing shows the zone.
func (s *State) drawn(zone string) bool {
	_, ok := s.Graph().Zone(zone)
	return ok
}

// ReachNow follows energy back from the whole place of a zone on the current drawings,
// as energy.Graph does for one zone. It fails when no current drawing shows the zone.
func (s *State) ReachNow(zone string, barrier func(point string) bool) (points []string, live bool, err error) {
	zones := s.PlaceOf(zone)
	if s.drawn(zone) {
		zones = s.drawnNames(zone)
	}
	return s.Graph().ReachNow(barrier, zones...)
}

// drawnNames lists those names of a zone's place that the current drawings show.
func (s *State) drawnNames(zone string) []string {
	return slices.DeleteFunc(s.PlaceOf(zone), func(z string) bool { return !s.drawn(z) })
}

// widen adds points to the reach of every zone: all points that the current drawings
// show reaching any zone of its place. Where a revision joined several places into one,
// each of their names takes over all that ever reached the others.
//
// So every zone has the reach of its whole place, except for the points that its own
// yard has taken out (narrowZone). No other yard's journal may take a point out: a yard
// that is cut off may have promised that point to somebody (decisions.md 9).
func (s *State) widen(before map[string]*place) {
	for _, id := range sorted(s.places) {
		p := s.places[id]
		if p.zones[0] != id {
			continue // done already, with the first name of the place
		}
		var all []string
		if now, _, err := s.Graph().ReachNow(nil, s.drawnNames(id)...); err == nil {
			all = now
		}
		if tied := before[id]; tied == nil || !slices.Equal(tied.zones, p.zones) {
			for _, z := range p.zones {
				all = append(all, s.Reach[z]...)
			}
		}
		for _, z := range p.zones {
			s.Reach[z] = union(s.Reach[z], all)
		}
	}
	s.gatherReach()
}

func union(a, b []string) []string {
	out := slices.Concat(a, b)
	slices.Sort(out)
	return slices.Compact(out)
}

// CouldReach reports whether closing these points could let energy into the place of a
// zone.
//
// If nobody may be inside, only a point that is recorded open and held by a lock stops
// energy. It counts as a stop only on drawings that were walked and misled nobody since.
//
// If people may be inside, no open point counts as a stop. Every point that reaches
// their place on any drawing, past or present, counts (decisions.md 9).
//
// Anything may reach a zone that is no longer on the drawings.
func (s *State) CouldReach(zone string, points []string, inside bool) bool {
	if !s.drawn(zone) {
		return true
	}
	// This set has every point that any drawing showed, so the searches below cannot
	// find more.
	reach := s.reachOf(zone)
	if !overlap(reach, points) || inside {
		return inside && overlap(reach, points)
	}
	near, live, err := s.ReachNow(zone, s.openAndHeld)
	if err != nil || !s.relied(zone) {
		return true
	}
	drawn, _, _ := s.ReachNow(zone, nil)
	return slices.ContainsFunc(points, func(p string) bool {
		return slices.Contains(near, p) || slices.Contains(reach, p) && (live || !slices.Contains(drawn, p))
	})
}

// openAndHeld reports whether a point is recorded open and held by a lock. The answer is
// no if something behind the point ran without the ledger, whoever reported that, until
// the cause is corrected.
func (s *State) openAndHeld(p string) bool {
	for _, st := range s.Started {
		if slices.Contains(st.Points, p) {
			return false
		}
	}
	pt := s.Points[p]
	return pt != nil && !pt.Live && len(s.Guarding(p)) > 0
}

// relied reports whether the drawings of a place can be trusted. Every drawing by which
// energy may come there must have been walked against the steel, and none found wrong
// since.
func (s *State) relied(zone string) bool {
	yards := s.drawingsOf(&Job{Zone: zone})
	for _, z := range s.PlaceOf(zone) {
		yards = append(yards, YardOf(z))
	}
	for _, y := range yards {
		if d := s.Drawings[y]; d == nil || !d.Walked.Set() || len(d.Suspect) > 0 {
			return false
		}
	}
	return true
}
