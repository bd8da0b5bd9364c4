package drawing

import (
	"reflect"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func TestDiff(t *testing.T) {
	s, err := Parse("small.yaml", []byte(small))
	if err != nil {
		t.Fatal(err)
	}
	before := s.Drawing
	if got := Diff(before, proto.Clone(before).(*recordv1.Drawing)); got != nil {
		t.Errorf("a drawing differs from itself: %v", got)
	}
	after := proto.Clone(before).(*recordv1.Drawing)
	after.Revision++
	after.Stock = []*recordv1.Stock{{Hardware: recordv1.Hardware_HARDWARE_HASP, Count: 3}}
	after.Nodes[1].Place = "work house"
	after.Nodes[2].Store.WaitSeconds = 5
	after.Nodes = append(after.Nodes[:3], &recordv1.Node{Name: "bell", Kind: recordv1.NodeKind_NODE_KIND_BUS})
	after.Links[0].Device.Device = "main-2"
	after.Links[3].Device = nil
	after.Zones[0].Parts[0].Media = after.Zones[0].Parts[0].Media[:1]
	want := []Change{
		{"drawing", "stonebend", "changed", []string{"revision"}},
		{"stock", "hasp", "added", nil},
		{"node", "bell", "added", nil},
		{"node", "buckets", "changed", []string{"store.wait"}},
		{"node", "leg-2", "changed", []string{"place"}},
		{"node", "start", "removed", nil},
		{"link", "feed", "changed", []string{"device.device"}},
		{"link", "start--millrow-cp", "changed", []string{"device"}},
		{"point", "main/main-1", "removed", nil},
		{"point", "main/main-2", "added", nil},
		{"zone", "boot", "changed", []string{"parts"}},
	}
	if got := Diff(before, after); !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%v\nwant\n%v", got, want)
	}
}
