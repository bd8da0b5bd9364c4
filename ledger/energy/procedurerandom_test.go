package energy

import (
	"math/rand/v2"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestProcedureOnRandomDrawings: whatever the plan of a random drawing, every
// source that the oracle (brute force over paths) finds to reach the zone is
// named and held, and every point has its steps.
func TestProcedureOnRandomDrawings(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	written := 0
	for range 400 {
		ds := randomSketches(r, 3+r.IntN(5), 6, true)
		g := mustBuild(t, ds...)
		plan := mustPlan(t, g, "eastfork/pit", []recordv1.Isolation{single, double}[r.IntN(2)])
		p, err := g.Procedure("eastfork/pit", plan)
		if (err == nil) != plan.Isolates {
			t.Fatalf("isolates %v, %v", plan.Isolates, err)
		}
		if err != nil {
			continue
		}
		written++
		named, held, pointed := map[string]bool{}, map[string]bool{}, map[string]int{}
		for _, sec := range p.Sections {
			for _, s := range sec.Steps {
				switch s.act {
				case names:
					for _, id := range s.Sources {
						named[id] = true
					}
				case isolates:
					pointed[s.Point]++
					for _, id := range s.Sources {
						held[id] = true
					}
				case locks:
					pointed[s.Point]++
				}
			}
		}
		for _, id := range plan.Points {
			if pointed[id] != 2 {
				t.Errorf("point %s has %d steps", id, pointed[id])
			}
		}
		for i, d := range ds {
			for j, n := range d.Nodes {
				id := d.Yard + "/" + n.Name
				alone := []*recordv1.Drawing{proto.CloneOf(ds[0]), proto.CloneOf(ds[1])}
				for _, x := range alone {
					for _, m := range x.Nodes {
						if m.Kind == recordv1.NodeKind_NODE_KIND_SOURCE {
							m.Kind = recordv1.NodeKind_NODE_KIND_BUS
						}
					}
				}
				alone[i].Nodes[j].Kind = n.Kind
				reaches := n.Kind == recordv1.NodeKind_NODE_KIND_SOURCE && !newOracle(alone).isolates(0, 1)
				if named[id] != reaches || held[id] && n.Kind != recordv1.NodeKind_NODE_KIND_SOURCE || reaches && !held[id] {
					t.Errorf("%s reaches %v, named %v, held %v", id, reaches, named[id], held[id])
				}
			}
		}
	}
	if written < 100 {
		t.Errorf("only %d procedures were written", written)
	}
}
