package energy

// span is a link in a labelling, with what it costs to let the label rise along it.
type span struct {
	u, v int32
	both bool  // energy passes from v to u too
	one  int64 // cost of a rise by one
	two  int64 // what a rise by two costs above twice one
	link int32
}

// labelling gives each node a label, the sources 0 and the sinks the highest. The rises
// along the spans, in the direction that energy passes, cost least. With one layer it is
// the minimum cut. With two layers, every path from a source to a sink climbs two steps.
//
// For a cost that is convex in the rise, this is a minimum cut of a network with one
// copy of each node for each layer (H. Ishikawa, "Exact optimization for Markov random
// fields with convex priors", IEEE PAMI 25, 2003; from memory). Of all least labellings
// it returns the one that is lowest at every node at once: the one nearest the sinks. No
// source may be a sink. It takes the steps it needs from steps. ok is false when they
// are not enough.
func labelling(nodes int, spans []span, sources, sinks []int32, layers int, steps *int64) (labels []uint8, cost int64, ok bool) {
	const never = int64(1) << 50
	s, t := int32(nodes*layers), int32(nodes*layers+1)
	arcs := len(spans)*layers + len(sources) + len(sinks)
	if layers == 2 {
		arcs += nodes
		for i := range spans {
			if spans[i].two > 0 {
				arcs += 2
			}
		}
	}
	n := newNetwork(nodes*layers+2, arcs)
	copyOf := func(v int32, layer int) int32 { return v*int32(layers) + int32(layer) }
	for _, v := range sources {
		n.join(s, copyOf(v, 0), never, 0)
	}
	for _, v := range sinks {
		n.join(copyOf(v, layers-1), t, never, 0)
	}
	for _, x := range spans {
		back := int64(0)
		if x.both {
			back = x.one
		}
		for k := range layers {
			n.join(copyOf(x.u, k), copyOf(x.v, k), x.one, back)
		}
		if layers == 2 && x.two > 0 {
			n.join(copyOf(x.u, 0), copyOf(x.v, 1), x.two, 0)
			if x.both {
				n.join(copyOf(x.v, 0), copyOf(x.u, 1), x.two, 0)
			}
		}
	}
	if layers == 2 {
		for v := range int32(nodes) {
			n.join(copyOf(v, 0), copyOf(v, 1), never, 0) // a label of two is also a label of at least one
		}
	}
	n.steps = *steps
	cost, ok = n.maximum(s, t)
	*steps = n.steps
	if !ok {
		return nil, 0, false
	}
	labels = make([]uint8, nodes)
	for v := range int32(nodes) {
		for k := range layers {
			if n.sinkSide(copyOf(v, k)) {
				labels[v]++
			}
		}
	}
	return labels, cost, true
}

// rise is how much the label climbs along x, in either direction if energy passes both
// ways.
func (x *span) rise(labels []uint8) int {
	r := int(labels[x.v]) - int(labels[x.u])
	if x.both && r < 0 {
		return -r
	}
	return max(r, 0)
}
