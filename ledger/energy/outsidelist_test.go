package energy

import "slices"

// outside lists the checks.
func outside() []outsideCheck {
	const (
		christie = "pglib-opf v23.07, (c) 1999 Richard D. Christie, University of Washington, CC BY 4.0"
		zachary  = "W. W. Zachary, J. Anthropological Research 33, 1977, pp. 452-473; weights as NetworkX 2.8.8 has them"
	)
	return slices.Concat([]outsideCheck{
		{"maximum flow and minimum cut of CLRS", "Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, 3rd ed., fig. 26.1, 26.5, 26.6 (figures from memory): 23 = 12+7+4", clrs},
		{"maximum flow of CLRS, earlier editions", "the same, 1st and 2nd ed., with v1-v2 10: 23", clrsEarlier},
		{"maximum flow of Lawler", "E. L. Lawler, Combinatorial Optimization, fig. 4.3 p. 111: 4", lawler},
		{"karate club: who stays with whom", zachary + "; published: all placed right but member 9", karateSplit},
		{"karate club: cuts", zachary + "; values recomputed with another program", karateCuts},
		{"14-bus and 30-bus systems: counts and cut vertices", christie + "; cut vertices recomputed with another program", gridCounts},
		{"14-bus and 30-bus systems: bridges", christie + "; recomputed with another program", bridges},
		{"14-bus and 30-bus systems: least branches to open", christie + "; recomputed with another program", leastBranches},
		{"14-bus system: edge cuts between two buses", christie + "; recomputed with another program", pairCuts},
		{"14-bus system: node cuts between two buses", christie + "; recomputed with another program", busPairs},
		{"counts of all graphs of 3 to 7 nodes by connectivity", "OEIS A001349, A002218 and A006290 as MathWorld prints them; A000088 from memory; H. Whitney 1932", exhaustiveCounts},
		{"disjoint paths", "K. Menger 1927: as many paths without a shared link as the least cut has links", menger},
		{"maximum flow, second opinion", "gonum, graph/network.MaxFlowDinic", flowSecondOpinion},
		{"single points, second opinion", "gonum, graph/flow.Dominators (Lengauer and Tarjan)", dominators},
		{"cases answered by NetworkX", "NetworkX 2.8.8, minimum_cut, minimum_edge_cut and immediate_dominators; files in testdata/networkx", networkxRecorded},
		{"what never isolates", "29 CFR 1910.147(b), energy isolating device; 29 CFR 1910.333(b)(2)(ii)(B)", TestNeverIsolates},
	}, namedGraphs(), storedOutside())
}
