package ledger

import "slices"

// place is a physical space that people can be in: all the zone names, past and
// present, that mean it (decisions.md 32). Two zones are one place when they have one
// name, or when some drawing, of any yard and revision, exposed people in both to the
// grain, the air or the chemical of one node. So a name that meant another node before
// ties both. That one device was said to be enough changes nothing: it is the same
// grain. A spout or a duct between two nodes ties nothing, or a whole yard would be one
// place.
type place struct {
	zones []string
	reach []string // the points that may reach any of them
}

// remember adds what the current drawings mean by each zone name.
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

// joinPlaces works the places out of all that the zone names ever meant.
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
	at := map[string]int{} // node -> a zone in its grain, air or chemical
	for i, z := range names {
		up[i] = i
		for node, surrounds := range s.Meant[z] { // whatever the order, the sets are the same
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

// gatherReach puts together what may reach each place, of places just made: once they
// are in use, copies of the state share them.
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

// PlaceOf lists the zone names that ever meant the place of a zone, its own included,
// sorted. A zone that no drawing ever showed is alone.
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
// as energy.Graph does it for one zone. It fails where none of them shows the zone.
func (s *State) ReachNow(zone string, barrier func(point string) bool) (points []string, live bool, err error) {
	zones := s.PlaceOf(zone)
	if s.drawn(zone) {
		zones = s.drawnNames(zone)
	}
	return s.Graph().ReachNow(barrier, zones...)
}

// drawnNames lists the names of the place of a zone that the current drawings show.
func (s *State) drawnNames(zone string) []string {
	return slices.DeleteFunc(s.PlaceOf(zone), func(z string) bool { return !s.drawn(z) })
}

// widen adds to the reach of every zone what the current drawings show of any zone of
// its place. Where a revision made one place of several, each of their names takes over
// what ever reached the others. So a zone has the reach of its place, as far as its own
// yard has not taken something out: no other yard's journal may, for a yard that is cut
// off may have promised it to somebody (decisions.md 9, narrowZone).
func (s *State) widen(before map[string]*place) {
	for _, id := range sorted(s.places) {
		p := s.places[id]
		if p.zones[0] != id {
			continue // done with the first of its names
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
// zone. Only a point recorded open and held by a lock stops it, and only on drawings
// that were walked and misled nobody. For people who may be inside not even that one
// does: any point that reaches their place by the structure of a drawing, past or
// present, counts (decisions.md 9). A zone that left the drawings is reached by
// anything.
func (s *State) CouldReach(zone string, points []string, inside bool) bool {
	if !s.drawn(zone) {
		return true
	}
	// It has all that any drawing showed, so the searches below find no more.
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

// openAndHeld: a point behind which something ran without the ledger is none, whoever
// told of it, until the cause is corrected.
func (s *State) openAndHeld(p string) bool {
	for _, st := range s.Started {
		if slices.Contains(st.Points, p) {
			return false
		}
	}
	pt := s.Points[p]
	return pt != nil && !pt.Live && len(s.Guarding(p)) > 0
}

// relied reports whether every drawing by which energy may come to the place of a zone
// was walked against the steel, and none of them was found wrong since.
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
