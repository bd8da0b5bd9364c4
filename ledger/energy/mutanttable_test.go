package energy

import "slices"

// mutantTable lists what is broken on purpose.
func mutantTable() []mutant {
	return slices.Concat(examineMutants, planMutants, drawingMutants, nowMutants, choiceMutants)
}

// What energy reaches, and what isolates.
var examineMutants = []mutant{
	{"a second source is dropped", "graph.go",
		"\t\t\tg.sources = append(g.sources, int32(i))", "\t\t\tg.sources = append(g.sources[:0], int32(i))",
		"TestSecondFeed|TestTieBreaker", true},
	{"interlocked sources don't count", "graph.go",
		"if g.nodes[i].kind == recordv1.NodeKind_NODE_KIND_SOURCE {", "if g.nodes[i].kind == recordv1.NodeKind_NODE_KIND_SOURCE && g.nodes[i].interlock == \"\" {",
		"TestTransferSwitch", false},
	{"a push button isolates", "device.go",
		`{"push button", false, 0, false}`, `{"push button", true, 1, false}`,
		"TestNeverIsolates", true},
	{"a contactor isolates", "device.go",
		`{"contactor", false, 0, false}`, `{"contactor", true, 1, false}`,
		"TestNeverIsolates", false},
	{"an interlock isolates", "device.go",
		`{"interlock", false, 0, false}`, `{"interlock", true, 1, false}`,
		"TestNeverIsolates", false},
	{"a drive isolates", "device.go",
		`{"drive", false, 0, false}`, `{"drive", true, 1, false}`,
		"TestNeverIsolates", false},
	{"a check valve is a reason for a direction", "device.go",
		`{"check valve", false, 0, false}`, `{"check valve", false, 0, true}`,
		"TestCheckRefuses", false},
	{"feed-back is forgotten", "graph.go",
		"\t\t\tif !g.links[i].oneWay {\n\t\t\t\tf(to, from, int32(i))", "\t\t\tif false {\n\t\t\t\tf(to, from, int32(i))",
		"TestBackFeed|TestBackFeedingMotor", false},
	{"the second yard is forgotten", "graph.go",
		"\tg.addLinks(ds)\n", "\tg.addLinks(ds[len(ds)-1:])\n",
		"TestSecondFeed", false},
	{"a blank counts once", "device.go",
		`{"blank", true, 2, true}`, `{"blank", true, 1, true}`,
		"TestBlank", true},
	{"the level asked for is ignored", "examine.go",
		"if level == recordv1.Isolation_ISOLATION_DOUBLE {\n\t\treturn 2", "if level > recordv1.Isolation_ISOLATION_DOUBLE {\n\t\treturn 2",
		"TestOneOfTwo", true},
	{"energy stops at a store", "examine.go",
		"if s.label[a.node] != far {", "if s.label[a.node] != far || g.nodes[a.node].kind == recordv1.NodeKind_NODE_KIND_STORE {",
		"TestExamineAgainstEverySubset", false},
	{"only the first part is examined", "examine.go",
		"\tfor _, p := range z.parts {", "\tfor _, p := range z.parts[:1] {",
		"TestExamineAgainstEverySubset", false},
	{"a device that isolates nothing is passed over in a list of points", "examine.go",
		"return nil, fmt.Errorf(\"%s %s\", id, why)", "continue",
		"TestNeverIsolates", false},
	{"an open point counts when it is closed", "examine.go",
		"case p < 0 || !open[p]:", "case p < 0:",
		"TestExamineAgainstEverySubset", false},
}

// Which points a plan opens.
var planMutants = []mutant{
	{"no diagonal arc between the layers", "layers.go",
		"if layers == 2 && x.two > 0 {", "if layers == 3 && x.two > 0 {",
		"TestPlanAgainstEverySubset", true},
	{"the layers aren't joined", "layers.go",
		"\tif layers == 2 {\n\t\tfor v", "\tif layers == 3 {\n\t\tfor v",
		"TestPlanAgainstEverySubset|TestFitAgainstEverySet", false},
	{"a two-way link is cut one way", "layers.go",
		"\t\t\tback = x.one\n", "\t\t\tback = 0\n",
		"TestPlanAgainstEverySubset", false},
	{"the source side of the cut for the sink side", "flow.go",
		"func (n *network) sinkSide(v int32) bool { return n.layer[v] >= 0 }", `func (n *network) sinkSide(v int32) bool {
	seen := make([]bool, len(n.first))
	queue := []int32{int32(len(n.first) - 2)}
	seen[queue[0]] = true
	for i := 0; i < len(queue); i++ {
		for e := n.first[queue[i]]; e >= 0; e = n.next[e] {
			if w := n.to[e]; n.left[e] > 0 && !seen[w] {
				seen[w] = true
				queue = append(queue, w)
			}
		}
	}
	return !seen[v]
}`,
		"TestOneLeg", true},
	{"flow never goes back", "flow.go",
		"\t\tn.left[done.arc^1] += done.sent\n", "",
		"TestPlanAgainstEverySubset", false},
	{"the plan cuts off the first part alone", "cut.go",
		"\tfor _, n := range z.parts {", "\tfor _, n := range z.parts[:1] {",
		"TestPlanAgainstEverySubset", false},
	{"giving up is called the fewest", "cut.go",
		"return c.best, !c.stopped || ", "return c.best, true || ",
		"TestStepsRunOut", false},
	{"only one answer is tried for a blank", "cut.go",
		"\t\tc.choices[i] = shut\n\t\tc.branch(chosen)\n", "",
		"TestPlanAgainstEverySubset", false},
	{"points that may not be opened are opened", "cut.go",
		"if point >= 0 && p.without != nil && p.without[point] {", "if point >= 0 && p.without != nil && false {",
		"TestAlternativesOfALeg", false},
	{"nodes parted by a point are one", "graph.go",
		"l.point < 0 && !l.oneWay && g.clump", "!l.oneWay && g.clump",
		"TestOneLeg", false},
}

// What a drawing says of its zones, links and devices.
var drawingMutants = []mutant{
	{"an unnamed waiver counts", "checkzones.go",
		"if !blank(z.GetWaivedBy()) && !blank(z.GetWaivedWhy()) {", "if !blank(z.GetWaivedWhy()) {",
		"TestDefaultIsolation", true},
	{"a waiver is ignored", "checkzones.go",
		"if !blank(z.GetWaivedBy()) && !blank(z.GetWaivedWhy()) {", "if false {",
		"TestDefaultIsolation", false},
	{"people entering ask for nothing", "checkzones.go",
		"\tif z.GetEntered() {", "\tif false {",
		"TestDefaultIsolation", false},
	{"fuel gas asks for nothing", "checkzones.go",
		"recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_FUEL_GAS,", "recordv1.Medium_MEDIUM_GRAIN,",
		"TestDefaultIsolation", false},
	{"one_way is ignored", "graph.go",
		"oneWay: l.GetOneWay() != \"\"", "oneWay: false",
		"TestExamineAgainstEverySubset", false},
	{"a device that can't be locked is a point", "device.go",
		" && d.GetLockable() && ", " && ",
		"TestNoPoint|TestPlugInHand", false},
	{"a conductor left closed is ignored", "device.go",
		" && !d.GetLeavesConductorClosed()", "",
		"TestNoPoint", false},
	{"a one-way link from a motor that feeds back is accepted", "checklinks.go",
		" && c.ix.feedsBack[to]", " && false && c.ix.feedsBack[to]",
		"TestCheckRefuses", false},
}

// What reaches what now, at the positions that points are in.
var nowMutants = []mutant{
	{"reach passes what is open and locked", "reach.go",
		"stops[p] = barrier != nil && barrier(p)", "stops[p] = false",
		"TestReach", true},
	{"reach follows energy forward", "reach.go",
		"range g.into.of(queue[i])", "range g.outOf.of(queue[i])",
		"TestReach|TestReachNowAgainstPaths", false},
	{"controls that start the zone are left out of what stays live", "near.go",
		", g.startsDead(n, z, s, b):", ":",
		"TestOneLeg", false},
	{"what goes dark includes the zone", "near.go",
		"part := slices.BinarySearch(z.parts, n); !part {", "part := slices.BinarySearch(z.parts, n); !part || part {",
		"TestOneLeg", false},
	{"open counts as locked", "now.go",
		"n.locked[i] = at == OpenAndLocked", "n.locked[i] = at != Closed",
		"TestNowOfALeg", true},
	{"an unknown position counts as open", "now.go",
		"n.stops[i] = at == Open || at == OpenAndLocked", "n.stops[i] = at != Closed",
		"TestNowOfALeg", false},
	{"one lock is called enough for double isolation", "now.go",
		"c == Locked && needed > 1", "c == Locked && needed > 2",
		"TestNowOfAPit", false},
	{"the best part speaks for the zone", "now.go",
		"if c < out.Condition {", "if worst < 0 && c < out.Condition {",
		"TestNowAgainstPaths", false},
	{"the search passes a blank", "ahead.go",
		"if b.g.points[p].Weight == 1 {", "if b.g.points[p].Weight > 0 {",
		"TestNowBehindABlank", false},
}

// Other minimal sets, and what a plan says of its points.
var choiceMutants = []mutant{
	{"further sets are never said to be there", "alternatives.go",
		"\t\tif !e.keep(b.open) {\n\t\t\te.more = true\n", "\t\tif !e.keep(b.open) {\n",
		"TestAlternativesAgainstEverySubset", false},
	{"branches are forgotten", "alternatives.go",
		"if yes && !with[i] {", "if yes && !with[i] && wanted == b.with {",
		"TestAlternativesAgainstEverySubset", true},
	{"the least disruption isn't looked for", "alternatives.go",
		"\tif e.most > 1 {\n", "\tif e.most < 1 {\n",
		"TestAlternativesAgainstEverySubset", false},
	{"worse sets stand on the Pareto front", "alternatives.go",
		"if best < 0 || least[l] < best {", "if best < 0 || least[l] <= best {",
		"TestAlternativesAgainstEverySubset", false},
	{"a plug in its holder's hand needs nothing", "plan.go",
		"if yes && g.points[i].UnderHoldersControl {", "if !yes && g.points[i].UnderHoldersControl {",
		"TestBackFeedingTransformer", false},
}
