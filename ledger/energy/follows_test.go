package energy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestReach follows energy back to its points, whatever their positions.
func TestReach(t *testing.T) {
	s := legHouse()
	s.add("bus yard-light")
	s.link("light: main electricity yard-light, breaker gear/light").OneWay = "the lamp feeds nothing"
	g := mustBuild(t, s.Drawing)
	got, err := g.Reach("stonebend/motor")
	if err != nil {
		t.Fatal(err)
	}
	// the light is fed but feeds nothing; the drag could feed back
	same(t, "reach", got, []string{"stonebend/gear/main", "stonebend/gear/mcc", "stonebend/mcc-1/drag", "stonebend/mcc-1/leg"})
	now, live, err := g.ReachNow(func(p string) bool { return p == "stonebend/gear/mcc" }, "stonebend/motor")
	if err != nil || live {
		t.Errorf("live %v, %v", live, err)
	}
	same(t, "reach now", now, []string{"stonebend/gear/mcc", "stonebend/mcc-1/drag", "stonebend/mcc-1/leg"})
	now, live, _ = g.ReachNow(func(p string) bool { return p == "stonebend/mcc-1/drag" }, "stonebend/motor")
	if !live {
		t.Error("the feed is closed, yet not live")
	}
	same(t, "reach now past the drag", now, got)
}

// TestReachNowAgainstPaths compares the backward search with the forward list of
// all paths, for every set of open points.
func TestReachNowAgainstPaths(t *testing.T) {
	for trial := range uint64(200) {
		r := rand.New(rand.NewPCG(8, trial))
		ds := randomSketches(r, 3+r.IntN(4), 6, true)
		g, o := mustBuild(t, ds...), newOracle(ds)
		for open := range uint32(1) << len(o.points) {
			set := o.set(open)
			_, live, err := g.ReachNow(func(p string) bool { return slices.Contains(set, p) }, "eastfork/pit")
			if err != nil || live == o.isolates(open, 1) {
				t.Fatalf("trial %d, open %q: live %v, %v", trial, set, live, err)
			}
		}
	}
}

// TestStores finds what is stored behind the locks, over several links, and
// leaves out what an open point holds back. A store is never a source.
func TestStores(t *testing.T) {
	s := newSketch("millrow")
	s.add("source compressor")
	receiver := s.add("store receiver")
	receiver.Store = &recordv1.Store{Medium: recordv1.Medium_MEDIUM_AIR, Joules: 69200, WaitSeconds: 30, Release: "open the drain, leave it open"}
	s.add("bus header")
	s.add("store cannon-tank").Store.Medium = recordv1.Medium_MEDIUM_AIR
	s.add("machine cannon")
	s.add("store far-tank").Store.Medium = recordv1.Medium_MEDIUM_AIR
	s.link("supply: compressor air receiver, valve house/supply")
	s.link("main: receiver air header, valve house/header")
	s.link("drop: header air cannon-tank, check valve bin/check")
	s.link("fire: cannon-tank air cannon")
	s.link("spur: far-tank air header, valve bin/spur")
	s.link("out: cannon air far-tank").OneWay = "it vents upward"
	s.zone("bin", "cannon air")
	g := mustBuild(t, s.Drawing)
	for _, x := range []struct {
		open []string
		want []string
		dead bool
	}{
		{nil, []string{"millrow/cannon-tank", "millrow/far-tank", "millrow/receiver"}, false},
		{[]string{"millrow/house/supply"}, []string{"millrow/cannon-tank", "millrow/far-tank", "millrow/receiver"}, true},
		{[]string{"millrow/house/header"}, []string{"millrow/cannon-tank", "millrow/far-tank"}, true},
		{[]string{"millrow/house/header", "millrow/bin/spur"}, []string{"millrow/cannon-tank"}, true},
	} {
		stores, err := g.Stores("millrow/bin", x.open)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, st := range stores {
			got = append(got, st.ID)
			if st.ID == "millrow/receiver" && st != (Store{ID: "millrow/receiver", Medium: recordv1.Medium_MEDIUM_AIR, Joules: 69200, WaitSeconds: 30,
				Release: "open the drain, leave it open", HowWorkedOut: "as the drawing says, not worked out", Source: "the drawing", Limit: "zero gauge pressure"}) {
				t.Errorf("%+v", st)
			}
		}
		same(t, fmt.Sprint("stores past ", x.open), got, x.want)
		if v := mustExamine(t, g, "millrow/bin", single, x.open...); v.Isolates != x.dead {
			t.Errorf("open %q: isolates %v", x.open, v.Isolates)
		}
		d, err := g.Describe("millrow/bin", x.open, single)
		if err != nil || !slices.Equal(d.Stores, stores) {
			t.Errorf("describe: %+v, %v", d.Stores, err)
		}
	}
	if _, err := g.Stores("millrow/bin", []string{"millrow/bin/check"}); err == nil {
		t.Error("a check valve is taken for a point")
	}
}

// TestProofs checks kind, limit and unit for each medium against the published
// limits: 50 V (29 CFR 1910.333(a)(1) and NFPA 70E simple threshold), phosphine
// 0.3 ppm (29 CFR 1910.1000 Table Z-1); 50 °C and zero gauge pressure are common
// practice, no source.
func TestProofs(t *testing.T) {
	s := legHouse()
	s.zone("all", "leg-motor electricity, motion, grain, air, hydraulic, heat, fuel gas, chemical", "control-power electricity")
	g := mustBuild(t, s.Drawing)
	got, err := g.Proofs("stonebend/all", "stonebend/gear/mcc")
	if err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, p := range got {
		lines = append(lines, fmt.Sprintf("%s %s %s %g %s", p.Part[len("stonebend/"):], p.Medium, p.Kind, p.Limit, p.Unit))
		if p.Text == "" || p.Source == "" {
			t.Errorf("no text or source: %+v", p)
		}
	}
	same(t, "proofs", lines, []string{
		"control-power MEDIUM_ELECTRICITY READING_KIND_METER 50 V",
		"leg-motor MEDIUM_ELECTRICITY READING_KIND_METER 50 V",
		"leg-motor MEDIUM_MOTION READING_KIND_SIGHT 0 ",
		"leg-motor MEDIUM_GRAIN READING_KIND_SIGHT 0 ",
		"leg-motor MEDIUM_AIR READING_KIND_GAUGE 0 kPa",
		"leg-motor MEDIUM_HYDRAULIC READING_KIND_GAUGE 0 kPa",
		"leg-motor MEDIUM_HEAT READING_KIND_THERMOMETER 50 °C",
		"leg-motor MEDIUM_FUEL_GAS READING_KIND_GAUGE 0 kPa",
		"leg-motor MEDIUM_CHEMICAL READING_KIND_GAS 0.3 ppm",
		// the drag is on the dead side of the feeder: it could feed back
		"drag-start MEDIUM_UNSPECIFIED READING_KIND_TRY 0 ",
		"leg-start MEDIUM_UNSPECIFIED READING_KIND_TRY 0 ",
		"radio-start MEDIUM_UNSPECIFIED READING_KIND_TRY 0 ",
	})
	tries := func(open ...string) (out []string) {
		ps, err := g.Proofs("stonebend/motor", open...)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range ps {
			if p.Kind == recordv1.ReadingKind_READING_KIND_TRY {
				out = append(out, p.Part)
			}
		}
		return out
	}
	all := []string{"stonebend/drag-start", "stonebend/leg-start", "stonebend/radio-start"}
	same(t, "tries with nothing open", tries(), all)
	same(t, "tries behind the bucket", tries("stonebend/mcc-1/leg"), all[1:])
	for m := range recordv1.Medium_name {
		if _, ok := proofs[recordv1.Medium(m)]; !ok && m != 0 {
			t.Errorf("nothing proves medium %d gone", m)
		}
	}
}

// TestPoint lists what a point is.
func TestPoint(t *testing.T) {
	s := legHouse()
	s.Links[2].Device.Label, s.Links[2].Device.Holes = "leg bucket", 6
	g := mustBuild(t, s.Drawing)
	got, ok := g.Point("stonebend/mcc-1/leg")
	want := Point{ID: "stonebend/mcc-1/leg", Yard: "stonebend", Panel: "mcc-1", Device: "leg", Label: "leg bucket",
		Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Holes: 6, Link: "stonebend/leg-feed", Weight: 1}
	if !ok || got != want {
		t.Errorf("%+v", got)
	}
	if p, _ := g.Point("stonebend/gear/main"); p.Holes != 1 {
		t.Errorf("a lockable device without holes takes %d locks", p.Holes)
	}
	same(t, "zones", g.Zones(), []string{"stonebend/boot", "stonebend/motor"})
}
