package energy

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// karateTies are the 78 ties of W. W. Zachary, "An information flow model for
// conflict and fission in small groups", J. Anthropological Research 33, 1977,
// pp. 452-473, as u-v:weight; weights as NetworkX 2.8.8 has them.
const karateTies = `1-2:4 1-3:5 1-4:3 1-5:3 1-6:3 1-7:3 1-8:2 1-9:2 1-11:2 1-12:3 1-13:1 1-14:3 1-18:2 1-20:2 1-22:2 1-32:2
2-3:6 2-4:3 2-8:4 2-14:5 2-18:1 2-20:2 2-22:2 2-31:2 3-4:3 3-8:4 3-9:5 3-10:1 3-14:3 3-28:2 3-29:2 3-33:2 4-8:3 4-13:3
4-14:3 5-7:2 5-11:3 6-7:5 6-11:3 6-17:3 7-17:3 9-31:3 9-33:3 9-34:4 10-34:2 14-34:3 15-33:3 15-34:2 16-33:3 16-34:4
19-33:1 19-34:2 20-34:1 21-33:3 21-34:1 23-33:2 23-34:3 24-26:5 24-28:4 24-30:3 24-33:5 24-34:4 25-26:2 25-28:3 25-32:2
26-32:7 27-30:4 27-34:2 28-34:4 29-32:2 29-34:2 30-33:4 30-34:2 31-33:3 31-34:3 32-33:4 32-34:4 33-34:5`

// karateClub are the members who stayed with member 1, as the paper has them.
var karateClub = []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 17, 18, 20, 22}

// karate returns the ties, each as often as weight says.
func karate(weighted bool) net {
	g := net{n: 34}
	for _, tie := range strings.Fields(karateTies) {
		ends, weight, _ := strings.Cut(tie, ":")
		times := 1
		if weighted {
			times = int(weight[0] - '0')
		}
		for range times {
			g.edges = append(g.edges, parseNet(34, 1, ends).edges...)
		}
	}
	return g
}

// karateSplit cuts member 1 off from member 34: a tie of weight w is w links with
// a breaker each, and what goes dark with member 1 is the side of the cut that
// was foretold to stay with him.
func karateSplit(t *testing.T) {
	p := mustPlan(t, mustBuild(t, karate(true).wired(33)), "eastfork/z0", single)
	if len(p.Points) != 22 || !p.Isolates || !p.Fewest {
		t.Errorf("%d ties cut, isolates %v", len(p.Points), p.Isolates)
	}
	side := []int{1}
	for v := 2; v <= 33; v++ {
		if slices.Contains(p.GoesDark, fmt.Sprintf("eastfork/m%d", v-1)) {
			side = append(side, v)
		}
	}
	if want := []int{1, 2, 3, 4, 5, 6, 7, 8, 11, 12, 13, 14, 17, 18, 20, 22}; !slices.Equal(side, want) {
		t.Errorf("side of member 1: %v, want %v", side, want)
	}
	var wrong []int
	for v := 1; v <= 34; v++ {
		if slices.Contains(side, v) != slices.Contains(karateClub, v) {
			wrong = append(wrong, v)
		}
	}
	if !slices.Equal(wrong, []int{9}) {
		t.Errorf("placed wrong: %v, the paper says member 9 alone", wrong)
	}
}

// karateCuts checks the unweighted ties: edge cut 10 and node cut 6 between 1 and
// 34, kappa 1, cut vertex 1 alone, bridge 1-12 alone.
func karateCuts(t *testing.T) {
	g := karate(false)
	wired := mustBuild(t, g.wired(33))
	if p := mustPlan(t, wired, "eastfork/z0", single); len(g.edges) != 78 || len(p.Points) != 10 {
		t.Errorf("%d ties, edge cut %d", len(g.edges), len(p.Points))
	}
	if p := mustPlan(t, mustBuild(t, g.split(0)), "eastfork/z33", single); len(p.Points) != 6 {
		t.Errorf("node cut %q", p.Points)
	}
	if k := kappa(t, g); k != 1 {
		t.Errorf("kappa %d", k)
	}
	if got := cutVertices(t, g); !slices.Equal(got, []int{0}) {
		t.Errorf("cut vertices, from 0: %v", got)
	}
	var bridges []string
	for k, e := range g.edges {
		for v := range 33 {
			if mustExamine(t, wired, fmt.Sprintf("eastfork/z%d", v), single, fmt.Sprintf("eastfork/p/e%d", k)).Isolates {
				bridges = append(bridges, fmt.Sprintf("%d-%d", e[0]+1, e[1]+1))
				break
			}
		}
	}
	same(t, "bridges", bridges, []string{"1-12"})
}
