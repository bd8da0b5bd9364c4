package energy

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestSharesAir: a fumigant passes along grain, air and chemical links, against
// their direction and through closed devices, and along no other (standards: the
// fumigated neighbour bin through a shared tunnel; common practice, no source).
func TestSharesAir(t *testing.T) {
	gr, el := recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_ELECTRICITY
	bus := func(n string) *recordv1.Node {
		return &recordv1.Node{Name: n, Kind: recordv1.NodeKind_NODE_KIND_BUS}
	}
	zone := func(n, node string) *recordv1.Zone {
		return &recordv1.Zone{Name: n, Entered: true, Parts: []*recordv1.ExposedPart{{Node: node, Media: []recordv1.Medium{gr}}}}
	}
	d := &recordv1.Drawing{Yard: "eastfork", Revision: 1, Title: "bins",
		Nodes: []*recordv1.Node{bus("grain-1"), bus("tunnel"), bus("grain-2"), bus("office"), bus("shed")},
		Links: []*recordv1.Link{
			{Name: "down-1", From: "grain-1", To: "tunnel", Medium: gr, OneWay: "grain falls",
				Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BLANK, Panel: "tunnel", Device: "gate-1", Lockable: true}},
			{Name: "down-2", From: "grain-2", To: "tunnel", Medium: gr, OneWay: "grain falls"},
			{Name: "cable", From: "office", To: "grain-1", Medium: el},
			{Name: "duct", From: "grain-2", To: "shed", Medium: recordv1.Medium_MEDIUM_AIR},
		},
		Zones: []*recordv1.Zone{zone("bin-1", "grain-1"), zone("bin-2", "grain-2")}}
	g, problems := Build([]*recordv1.Drawing{d})
	if g == nil {
		t.Fatal(problems)
	}
	for _, c := range []struct {
		zone, place string
		want        bool
	}{
		{"eastfork/bin-1", "eastfork/bin-2", true}, {"eastfork/bin-2", "eastfork/bin-1", true}, {"eastfork/bin-1", "eastfork/bin-1", true},
		{"eastfork/bin-1", "eastfork/shed", true}, {"eastfork/bin-1", "eastfork/tunnel", true},
		{"eastfork/bin-1", "eastfork/office", false},
		{"eastfork/bin-1", "eastfork/never-drawn", true}, {"eastfork/never-drawn", "eastfork/office", true},
	} {
		if got := g.SharesAir(c.zone, c.place); got != c.want {
			t.Errorf("SharesAir(%s, %s) = %v", c.zone, c.place, got)
		}
	}
}
