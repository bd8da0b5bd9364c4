package cli

import (
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// A box that counts for a point on which no lock is recorded is called out, on every
// screen with points; a lock on the point itself, or one that is not shown, is not.
func TestKeyless(t *testing.T) {
	point := func(holds ...string) []*recordv1.PointView {
		return []*recordv1.PointView{{Point: "stonebend/mcc/main", Position: recordv1.Position_POSITION_OPEN_AND_HELD, Holds: holds, Boxes: []string{"stonebend/box-1"}}}
	}
	box := &recordv1.HoldView{Ref: "stonebend/1/2", Holder: "ravi", Target: "stonebend/box-1"}
	own := &recordv1.HoldView{Ref: "stonebend/1/1", Holder: "ravi", Target: "stonebend/mcc/main"}
	for name, c := range map[string]struct {
		points []*recordv1.PointView
		holds  []*recordv1.HoldView
		want   int
	}{
		"the box alone":               {point("stonebend/1/2"), []*recordv1.HoldView{box}, 1},
		"a lock on the point too":     {point("stonebend/1/1", "stonebend/1/2"), []*recordv1.HoldView{own, box}, 0},
		"a lock that isn't shown":     {point("stonebend/1/1", "stonebend/1/2"), []*recordv1.HoldView{box}, 0},
		"no lock on it, and no box's": {point(), nil, 0},
	} {
		for screenName, got := range map[string]string{
			"board": screen(func(p *page) { p.board(&recordv1.Board{AsOf: asOf(true), Points: c.points, Holds: c.holds}) }),
			"shift": screen(func(p *page) {
				b := &recordv1.Board{AsOf: asOf(true), Points: c.points, Holds: c.holds}
				p.shift(p.a.shiftOf(b, nil, "stonebend", "lena"))
			}),
			"job": screen(func(p *page) { p.job(&recordv1.JobView{AsOf: asOf(true), Points: c.points, Holds: c.holds}, "lena") }),
		} {
			if n := strings.Count(strings.Join(strings.Fields(got), " "), "NO LOCK ON THE POINT: the key of stonebend/mcc/main is recorded in stonebend/box-1"); n != c.want {
				t.Errorf("%s, %s: said %d times, want %d\n%s", name, screenName, n, c.want, got)
			}
		}
	}
}
