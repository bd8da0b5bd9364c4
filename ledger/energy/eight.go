package energy

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Holds is what is known of a condition.
type Holds uint8

const (
	// HoldsToBeRecorded: no drawing shows it, so a named person must say so.
	HoldsToBeRecorded Holds = iota
	// HoldsNo: the drawings show that it doesn't hold.
	HoldsNo
	// HoldsYes: it holds on these drawings; the steel may differ.
	HoldsYes
)

func (h Holds) String() string {
	switch h {
	case HoldsNo:
		return "no"
	case HoldsYes:
		return "yes, on these drawings"
	}
	return "to be recorded"
}

// EightCondition is one of the eight conditions of 29 CFR 1910.147(c)(4)(i). All must
// hold before work may be done without a written procedure.
type EightCondition struct {
	Number int // 1 to 8
	Text   string
	Holds  Holds
	Why    string
}

// NeedsProcedure reports whether a written procedure is needed because some condition
// does not hold. If it is false, a named person must still record the remaining ones.
func NeedsProcedure(cs []EightCondition) bool {
	if len(cs) != 8 {
		return true
	}
	for _, c := range cs {
		if c.Holds == HoldsNo {
			return true
		}
	}
	return false
}

// WithoutProcedure answers the eight conditions for work in the zone behind the plan's
// points. Conditions 1, 2, 3 and 5 come from the drawings. Where the plan matters, only
// its points count as open and all others as closed. Conditions 4, 6, 7 and 8 are for a
// person to record. In doubt the answer is no. It fails on an unknown zone or point, and
// on a plan for another zone.
func (g *Graph) WithoutProcedure(zone string, plan Plan) ([]EightCondition, error) {
	z, err := g.zone(zone)
	if err != nil {
		return nil, err
	}
	if plan.Zone != z.ID {
		return nil, fmt.Errorf("the plan is for %q, not for %s: compute one for the zone", plan.Zone, z.ID)
	}
	open, err := g.opened(plan.Points)
	if err != nil {
		return nil, err
	}
	every := g.behind(z, nil)
	out := []EightCondition{
		{Number: 1, Text: "nothing stored or residual is left after shut-down, and nothing builds up again, that could hurt"},
		{Number: 2, Text: "there is one energy source, and it is readily identified and isolated"},
		{Number: 3, Text: "isolating and locking that source de-energises and deactivates the machine completely"},
		{Number: 4, Text: "the machine is isolated from that source and locked during the work"},
		{Number: 5, Text: "one lockout device is enough"},
		{Number: 6, Text: "that device is under the exclusive control of the authorised employee who does the work"},
		{Number: 7, Text: "the work makes no hazard for other people"},
		{Number: 8, Text: "the employer has had no accident from unexpected activation or re-energisation of this machine during servicing"},
	}
	answer := func(number int, why string, yes string) {
		c := &out[number-1]
		c.Holds, c.Why = HoldsYes, yes
		if why != "" {
			c.Holds, c.Why = HoldsNo, why
		}
	}
	var sources []string
	for _, n := range g.sources {
		if every.in[n] {
			sources = append(sources, g.nodes[n].id)
		}
	}
	answer(1, g.keepsEnergy(every), "the drawings show no store, no raised grain and no machine that feeds back; look at the machine all the same")
	switch len(sources) {
	case 1:
		answer(2, "", sources[0]+" alone reaches the zone")
	case 0:
		answer(2, "the drawings show no source that reaches the zone, so none is identified", "")
	default:
		answer(2, fmt.Sprintf("%d sources reach the zone: %s", len(sources), firstFew(sources)), "")
	}
	answer(3, g.leavesLive(z, open, sources), "with "+strings.Join(g.named(open), ", ")+" open no source and no control reaches the zone")
	switch points := g.named(open); {
	case len(points) != 1:
		answer(5, fmt.Sprintf("the plan has %d points", len(points)), "")
	case !g.examine(z, open, z.Isolation).Isolates:
		answer(5, points[0]+" alone doesn't isolate the zone as it needs", "")
	default:
		answer(5, "", points[0]+" alone isolates the zone")
	}
	for i, why := range map[int]string{
		4: "record the lock and the readings",
		6: "record whose lock it is and that its only key is on them; a box or a second person's lock ends the exception",
		7: "record who else is near and that nothing reaches them",
		8: "record that the co-op's accident list was looked through",
	} {
		out[i-1].Why = why
	}
	return out, nil
}

// keepsEnergy says what may stay behind or build up again. It is "" if nothing is drawn.
func (g *Graph) keepsEnergy(b *behind) string {
	var kept []string
	for i := range g.nodes {
		if !b.in[i] {
			continue
		}
		switch id := g.nodes[i].id; {
		case g.nodes[i].store != nil:
			kept = append(kept, id+" stores energy")
		case g.feedsBack[i]:
			kept = append(kept, id+" can feed back")
		case g.nodes[i].kind == recordv1.NodeKind_NODE_KIND_SOURCE && g.sends(int32(i), recordv1.Medium_MEDIUM_GRAIN):
			kept = append(kept, id+" is grain that can fall")
		}
	}
	return firstFew(kept)
}

// sends reports whether a medium leaves a node.
func (g *Graph) sends(n int32, m recordv1.Medium) bool {
	for _, a := range g.outOf.of(n) {
		if g.links[a.link].medium == m {
			return true
		}
	}
	return false
}

// leavesLive says which parts of the zone the plan leaves live, or what it leaves able
// to start the zone.
func (g *Graph) leavesLive(z *zone, open []bool, sources []string) string {
	if len(sources) != 1 {
		return fmt.Sprintf("there is no one source whose isolation could do it, the drawings show %d", len(sources))
	}
	v := g.examine(z, open, z.Isolation)
	if !v.Isolates {
		return fmt.Sprintf("%s still reaches %s", v.Live[0].Source, v.Live[0].Part)
	}
	s, b := g.spread(open, 1), g.behind(z, func(p int32) bool { return open[p] })
	var live []string
	for i := range g.nodes {
		if g.startsDead(int32(i), z, s, b) {
			live = append(live, g.nodes[i].id)
		}
	}
	if len(live) > 0 {
		return "a control that starts it stays live, or nobody drew what feeds it: " + firstFew(live)
	}
	return ""
}
