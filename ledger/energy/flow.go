package energy

// network is a flow network with integer capacities. Arc e and its opposite
// e^1 share their residual capacity.
//
// The maximum flow is E. A. Dinic's: blocking flows in layered networks (Soviet Math.
// Doklady 11, 1970; from memory). Layers are counted from the sink. So when no more flow
// fits, the nodes with a layer are exactly those that still reach the sink. They are the
// sink side of the minimum cut nearest the sink.
type network struct {
	first []int32 // per node: its latest arc, -1 none
	next  []int32 // per arc: the arc before it at the same node
	to    []int32
	left  []int64 // residual capacity
	layer []int32 // arcs to the sink, -1 where none lead there
	at    []int32 // per node: the arc to try next
	steps int64   // steps left before it gives up
}

func newNetwork(nodes, arcs int) *network {
	n := &network{
		first: make([]int32, nodes),
		layer: make([]int32, nodes),
		at:    make([]int32, nodes),
		next:  make([]int32, 0, 2*arcs),
		to:    make([]int32, 0, 2*arcs),
		left:  make([]int64, 0, 2*arcs),
	}
	for i := range n.first {
		n.first[i] = -1
	}
	return n
}

// join adds an arc u to v with capacity c, and v to u with capacity back.
func (n *network) join(u, v int32, c, back int64) {
	e := int32(len(n.to))
	n.to = append(n.to, v, u)
	n.left = append(n.left, c, back)
	n.next = append(n.next, n.first[u], n.first[v])
	n.first[u], n.first[v] = e, e+1
}

// maxSteps limits the work of one plan. A wide drawing of 100,000 devices takes a few
// hundredths of it. Only a drawing made to be slow comes near. It counts steps, not
// time, so that every replica gives up at the same place.
const maxSteps = 1 << 28

// maximum pushes the greatest flow from s to t and returns its value. sinkSide is valid
// afterwards. ok is false when the steps ran out first.
func (n *network) maximum(s, t int32) (total int64, ok bool) {
	if s == t {
		return 0, true
	}
	queue := make([]int32, 0, len(n.first))
	for n.steps > 0 {
		n.layers(t, &queue)
		if n.layer[s] < 0 {
			return total, true
		}
		copy(n.at, n.first)
		total += n.block(s, t)
	}
	return total, false
}

// sinkSide reports whether v can still reach the sink.
func (n *network) sinkSide(v int32) bool { return n.layer[v] >= 0 }

func (n *network) layers(t int32, queue *[]int32) {
	n.steps -= int64(len(n.to))
	for i := range n.layer {
		n.layer[i] = -1
	}
	n.layer[t] = 0
	q := append((*queue)[:0], t)
	for i := 0; i < len(q); i++ {
		v := q[i]
		for e := n.first[v]; e >= 0; e = n.next[e] {
			if u := n.to[e]; n.layer[u] < 0 && n.left[e^1] > 0 {
				n.layer[u] = n.layer[v] + 1
				q = append(q, u)
			}
		}
	}
	*queue = q
}

// frame is one node of the walk that block makes.
type frame struct {
	node, arc   int32 // arc by which the walk came
	limit, sent int64
}

// block pushes a blocking flow, or part of one when the steps run out. Each node hands
// on all it was given before the walk goes back, so a long stretch is not walked once
// for every unit. It keeps its own stack, so a deep drawing causes no deep recursion.
func (n *network) block(s, t int32) int64 {
	const all = int64(1) << 60
	walk := []frame{{node: s, arc: -1, limit: all}}
	for {
		n.steps--
		f := &walk[len(walk)-1]
		if f.node == t {
			f.sent = f.limit
		}
		var e int32 = -1
		if f.sent < f.limit && n.steps > 0 {
			e = n.at[f.node]
			for e >= 0 && (n.left[e] == 0 || n.layer[n.to[e]] != n.layer[f.node]-1) {
				e = n.next[e]
			}
			n.at[f.node] = e
		}
		if e >= 0 {
			walk = append(walk, frame{node: n.to[e], arc: e, limit: min(n.left[e], f.limit-f.sent)})
			continue
		}
		done := *f
		walk = walk[:len(walk)-1]
		if len(walk) == 0 {
			return done.sent
		}
		n.left[done.arc] -= done.sent
		n.left[done.arc^1] += done.sent
		up := &walk[len(walk)-1]
		up.sent += done.sent
		// a node that could not hand on all it was given has nothing more to give
		if done.sent < done.limit {
			n.at[up.node] = n.next[done.arc]
		}
	}
}
