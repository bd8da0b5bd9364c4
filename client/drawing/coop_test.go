package drawing

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// coop reads the demo co-op's three yards.
func coop(t *testing.T) map[string]*recordv1.Drawing {
	t.Helper()
	drawings := make(map[string]*recordv1.Drawing)
	for _, yard := range []string{"eastfork", "millrow", "stonebend"} {
		path := filepath.Join("..", "..", "testdata", "coop", yard+".yaml")
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Parse(path, data)
		if err != nil {
			t.Fatal(err)
		}
		if s.Drawing.Yard != yard {
			t.Errorf("%s is of yard %q", path, s.Drawing.Yard)
		}
		drawings[yard] = s.Drawing
	}
	return drawings
}

// The files must hang together by themselves; ledger/energy says the rest.
func TestCoopHangsTogether(t *testing.T) {
	drawings := coop(t)
	nodes := make(map[string]bool)
	for yard, d := range drawings {
		for _, n := range d.Nodes {
			if name := yard + "/" + n.Name; nodes[name] {
				t.Errorf("%s is drawn twice", name)
			} else {
				nodes[name] = true
			}
			if (n.Store != nil) != (n.Kind == recordv1.NodeKind_NODE_KIND_STORE) {
				t.Errorf("%s/%s: a store, and only a store, says what it stores", yard, n.Name)
			}
		}
	}
	for yard, d := range drawings {
		full := func(name string) string {
			if strings.Contains(name, "/") {
				return name
			}
			return yard + "/" + name
		}
		used := make(map[string]bool)
		points, links := make(map[string]bool), make(map[string]bool)
		for _, l := range d.Links {
			if links[l.Name] {
				t.Errorf("%s: two links are called %s", yard, l.Name)
			}
			links[l.Name] = true
			for _, end := range []string{l.From, l.To} {
				used[full(end)] = true
				if !nodes[full(end)] {
					t.Errorf("%s: link %s ends at %s, which is not drawn", yard, l.Name, end)
				}
			}
			if l.Medium == recordv1.Medium_MEDIUM_UNSPECIFIED {
				t.Errorf("%s: link %s has no medium", yard, l.Name)
			}
			if !l.Device.GetLockable() {
				continue
			}
			point := l.Device.Panel + "/" + l.Device.Device
			if points[point] || l.Device.Panel == "" || l.Device.Device == "" {
				t.Errorf("%s: link %s has the point %q, which is not a name of its own", yard, l.Name, point)
			}
			points[point] = true
		}
		for _, n := range d.Nodes {
			if !used[full(n.Name)] {
				t.Errorf("%s: nothing leads to %s", yard, n.Name)
			}
			for _, m := range n.Starts {
				if !nodes[full(m)] {
					t.Errorf("%s: %s starts %s, which is not drawn", yard, n.Name, m)
				}
			}
		}
		for _, z := range d.Zones {
			if (z.WaivedBy == "") != (z.WaivedWhy == "") {
				t.Errorf("%s: zone %s is waived by %q because %q", yard, z.Name, z.WaivedBy, z.WaivedWhy)
			}
			for _, p := range z.Parts {
				if !nodes[full(p.Node)] || len(p.Media) == 0 {
					t.Errorf("%s: zone %s has the part %s with %d media", yard, z.Name, p.Node, len(p.Media))
				}
			}
		}
	}
}

// paths is the links of all yards for walking by hand. It knows nothing of media.
type paths struct {
	sources []string
	next    map[string][]step
}

type step struct{ to, point string }

func pathsOf(drawings map[string]*recordv1.Drawing) *paths {
	p := &paths{next: make(map[string][]step)}
	for yard, d := range drawings {
		full := func(name string) string {
			if strings.Contains(name, "/") {
				return name
			}
			return yard + "/" + name
		}
		for _, n := range d.Nodes {
			if n.Kind == recordv1.NodeKind_NODE_KIND_SOURCE {
				p.sources = append(p.sources, yard+"/"+n.Name)
			}
		}
		for _, l := range d.Links {
			point := ""
			if l.Device.GetLockable() {
				point = yard + "/" + l.Device.Panel + "/" + l.Device.Device
			}
			from, to := full(l.From), full(l.To)
			p.next[from] = append(p.next[from], step{to, point})
			if l.OneWay == "" {
				p.next[to] = append(p.next[to], step{from, point})
			}
		}
	}
	return p
}

// reach gives every node that energy comes to with the given points open.
func (p *paths) reach(open map[string]bool) map[string]bool {
	live := make(map[string]bool)
	queue := slices.Clone(p.sources)
	for _, s := range queue {
		live[s] = true
	}
	for i := 0; i < len(queue); i++ {
		for _, s := range p.next[queue[i]] {
			if !live[s.to] && !open[s.point] {
				live[s.to] = true
				queue = append(queue, s.to)
			}
		}
	}
	return live
}

func set(list ...string) map[string]bool {
	m := make(map[string]bool)
	for _, s := range list {
		m[s] = true
	}
	return m
}

// The story the demo tells about Stonebend's leg 2 holds on the files as they are.
func TestCoopLegBoot(t *testing.T) {
	drawings := coop(t)
	const (
		local   = "stonebend/head-house/leg-2-disconnect"
		bucket  = "stonebend/mcc-1/leg-2"
		control = "millrow/control-panel/stonebend-leg-2"
		bin     = "stonebend/boot-pit/bin-3-gate"
		spout   = "millrow/bridge/transfer-gate"
	)
	walk := pathsOf(drawings)
	parts := []string{"stonebend/leg-2", "stonebend/leg-2-boot", "stonebend/leg-2-motor", "stonebend/leg-2-control"}
	tests := []struct {
		open []string
		live []string // the parts energy still comes to
	}{
		{nil, parts},
		{[]string{local, bin, spout}, []string{"stonebend/leg-2-control"}},
		{[]string{bucket, bin, spout}, []string{"stonebend/leg-2-control"}},
		{[]string{local, control, bin, spout}, nil},
		{[]string{bucket, control, bin, spout}, nil},
		// Grain in the boot turns the leg, and the leg its motor.
		{[]string{local, control, bin}, parts[:3]},
		{[]string{local, control, spout}, parts[:3]},
		{[]string{control, bin, spout}, parts[:3]},
	}
	for _, test := range tests {
		live := walk.reach(set(test.open...))
		var got []string
		for _, p := range parts {
			if live[p] {
				got = append(got, p)
			}
		}
		if !slices.Equal(got, test.live) {
			t.Errorf("with %v open, energy comes to %v, want %v", test.open, got, test.live)
		}
	}
}

// Every zone that asks for two devices on each path can have them: with any one
// lockable device taken for closed, the others still cut the zone off.
func TestCoopDoubleIsPossible(t *testing.T) {
	drawings := coop(t)
	var all []string
	for yard, d := range drawings {
		for _, l := range d.Links {
			if l.Device.GetLockable() {
				all = append(all, yard+"/"+l.Device.Panel+"/"+l.Device.Device)
			}
		}
	}
	slices.Sort(all)
	checked := 0
	walk := pathsOf(drawings)
	for yard, d := range drawings {
		for _, z := range d.Zones {
			if z.Isolation != recordv1.Isolation_ISOLATION_DOUBLE {
				continue
			}
			for _, stuck := range all {
				open := set(all...)
				delete(open, stuck)
				live := walk.reach(open)
				for _, p := range z.Parts {
					checked++
					if live[yard+"/"+p.Node] {
						t.Errorf("%s/%s: %s is the only device on a path to %s", yard, z.Name, stuck, p.Node)
					}
				}
			}
		}
	}
	if checked < 100 {
		t.Errorf("checked %d cases, want every device for each zone", checked)
	}
}
