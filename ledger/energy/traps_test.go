package energy

import (
	"slices"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// legHouse is a leg at stonebend: fed through a bucket breaker, its control
// power tapped ahead of that breaker (NEC 430.75's trap; common practice, no
// source), its motor turned by the leg when loaded grain runs back.
func legHouse() *sketch {
	s := newSketch("stonebend")
	s.add("source utility @yard")
	s.add("bus main @switch-room")
	s.add("bus mcc @switch-room")
	s.add("bus control-power @switch-room")
	s.add("machine leg-motor @head-house").Label = "leg motor"
	s.add("machine leg @boot-pit")
	s.add("machine dust-fan @roof")
	s.add("machine drag @tunnel")
	s.add("control leg-start @boot-pit").Starts = []string{"leg-motor"}
	s.add("control drag-start @tunnel").Starts = []string{"drag"}
	s.add("control radio-start").Starts = []string{"leg-motor"}
	s.link("service: utility electricity main, disconnect gear/main")
	s.link("feeder: main electricity mcc, breaker gear/mcc")
	s.link("leg-feed: mcc electricity leg-motor, breaker mcc-1/leg")
	s.link("fan-tap: leg-motor electricity dust-fan, fuse mcc-1/fan")
	s.link("drag-feed: mcc electricity drag, breaker mcc-1/drag")
	s.link("tap: mcc electricity control-power, fuse mcc-1/tap")
	s.link("start-wire: control-power electricity leg-start")
	s.link("drag-wire: control-power electricity drag-start")
	s.link("shaft: leg-motor motion leg")
	s.zone("motor", "leg-motor electricity, motion")
	s.zone("boot", "leg motion").Isolation = single
	return s
}

// TestOneLeg plans a leg fed one way: the nearest point, and what follows.
func TestOneLeg(t *testing.T) {
	g := mustBuild(t, legHouse().Drawing)
	p := mustPlan(t, g, "stonebend/motor", asked)
	if !p.Isolates || p.Level != single || !p.Fewest || p.CannotCut != nil || p.WouldHaveToFit != "" {
		t.Errorf("plan %+v", p)
	}
	// three sets of one point isolate; the bucket breaker leaves least dark
	same(t, "points", p.Points, []string{"stonebend/mcc-1/leg"})
	same(t, "goes dark", p.GoesDark, []string{"stonebend/dust-fan", "stonebend/leg"})
	// mcc: line side; control-power shares its place, as main does; leg-start is
	// at no place of the plan but starts the motor; so does the radio, whose feed
	// isn't drawn
	same(t, "stays live", p.StaysLive, []string{"stonebend/control-power", "stonebend/leg-start", "stonebend/main", "stonebend/mcc", "stonebend/radio-start"})

	v := mustExamine(t, g, "stonebend/motor", asked)
	if v.Isolates || len(v.Live) != 1 {
		t.Fatalf("with nothing open: %+v", v)
	}
	same(t, "path", v.Live[0].Steps, []string{"stonebend/utility", "disconnect stonebend/gear/main", "stonebend/main",
		"breaker stonebend/gear/mcc", "stonebend/mcc", "breaker stonebend/mcc-1/leg", "stonebend/leg-motor"})

	// farther up, more goes dark, the start button with it
	d, err := g.Describe("stonebend/motor", []string{"stonebend/gear/main"}, asked)
	if err != nil || !d.Isolates || d.Fewest {
		t.Fatalf("%+v, %v", d, err)
	}
	same(t, "goes dark", d.GoesDark, []string{"stonebend/drag", "stonebend/dust-fan", "stonebend/leg"})
	same(t, "stays live", d.StaysLive, []string{"stonebend/radio-start", "stonebend/utility"})
}

// TestNeverIsolates offers every kind of device as the only one in the feed of a
// motor: 1910.147(b) and 1910.333(b)(2)(ii)(B) name the ones that don't count.
func TestNeverIsolates(t *testing.T) {
	isolating := []string{"blank", "block", "breaker", "disconnect", "gate", "plug", "valve"}
	var got []string
	for kind := range recordv1.DeviceKind_name {
		if kind == 0 {
			continue
		}
		s := newSketch("stonebend")
		s.add("source utility")
		s.add("machine motor")
		word := devices[recordv1.DeviceKind(kind)].word
		l := s.link("feed: utility electricity motor, " + word + " panel/it")
		s.zone("z", "motor electricity")
		// a padlock hasp on it changes nothing
		l.Device.Lockable = true
		g := mustBuild(t, s.Drawing)
		v, err := g.Examine("stonebend/z", []string{"stonebend/panel/it"}, single)
		p := mustPlan(t, g, "stonebend/z", single)
		if err == nil && v.Isolates {
			got = append(got, word)
			same(t, word, p.Points, []string{"stonebend/panel/it"})
			continue
		}
		if err == nil || !strings.Contains(err.Error(), "stonebend/panel/it is "+a(word)+": never isolates") {
			t.Errorf("%s: %v", word, err)
		}
		if p.Isolates || p.CannotCut == nil || p.CannotCut.Steps[1] != word+" stonebend/panel/it" {
			t.Errorf("%s: plan %+v", word, p)
		}
		if want := "fit a lockable disconnect that opens every ungrounded conductor in link stonebend/feed, stonebend/utility to stonebend/motor"; p.WouldHaveToFit != want {
			t.Errorf("%s: %q", word, p.WouldHaveToFit)
		}
	}
	slices.Sort(got)
	same(t, "kinds that isolate", got, isolating)
}

// TestNoPoint says why a device of an isolating kind isn't a point, and that an
// unknown one is unknown.
func TestNoPoint(t *testing.T) {
	s := legHouse()
	s.Links[2].Device.Lockable = false
	s.Links[4].Device.LeavesConductorClosed = true
	g := mustBuild(t, s.Drawing)
	for id, want := range map[string]string{
		"stonebend/mcc-1/leg":  "stonebend/mcc-1/leg is a breaker that can't take a lock",
		"stonebend/mcc-1/drag": "leaves an ungrounded conductor closed",
		"stonebend/mcc-1/fan":  "is a fuse: never isolates",
		"stonebend/mcc-1/none": "isn't in the current drawings",
		"":                     "isn't in the current drawings",
	} {
		if _, err := g.Examine("stonebend/motor", []string{"stonebend/gear/main", id}, single); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", id, err, want)
		}
		if _, err := g.Describe("stonebend/motor", []string{id}, single); err == nil {
			t.Errorf("describe takes %q", id)
		}
		if _, ok := g.Point(id); ok {
			t.Errorf("%q is a point", id)
		}
	}
	same(t, "points", ids(g.Points()), []string{"stonebend/gear/main", "stonebend/gear/mcc"})
}

// TestSecondFeed joins a feed from another yard: the plan that was right leaves
// the motor live, and the path is named from its source.
func TestSecondFeed(t *testing.T) {
	far := newSketch("millrow")
	far.add("source generator")
	far.add("bus tie")
	far.link("out: generator electricity tie, breaker shed/generator")
	far.link("tie-line: tie electricity stonebend/dust-fan")
	g := mustBuild(t, far.Drawing, legHouse().Drawing)
	v := mustExamine(t, g, "stonebend/motor", asked, "stonebend/mcc-1/leg")
	if v.Isolates || len(v.Live) != 1 || v.Live[0].Source != "millrow/generator" {
		t.Fatalf("%+v", v)
	}
	same(t, "path", v.Live[0].Steps, []string{"millrow/generator", "breaker millrow/shed/generator", "millrow/tie", "link millrow/tie-line",
		"stonebend/dust-fan", "fuse stonebend/mcc-1/fan", "stonebend/leg-motor"})
	p := mustPlan(t, g, "stonebend/motor", asked)
	same(t, "points", p.Points, []string{"millrow/shed/generator", "stonebend/mcc-1/leg"})
	if p.Points == nil || !p.Isolates {
		t.Errorf("%+v", p)
	}
}

// TestBackFeed lets grain run back down a leg: it turns the leg, the leg turns
// the motor, the motor feeds its line (1910.333(b)(2)(ii)(D)).
func TestBackFeed(t *testing.T) {
	s := legHouse()
	s.add("source grain-in-leg")
	s.link("run-back: grain-in-leg grain leg")
	g := mustBuild(t, s.Drawing)
	v := mustExamine(t, g, "stonebend/motor", asked, "stonebend/mcc-1/leg")
	if v.Isolates || len(v.Live) != 1 || v.Live[0].Source != "stonebend/grain-in-leg" {
		t.Fatalf("back-feed missed: %+v", v)
	}
	p := mustPlan(t, g, "stonebend/motor", asked)
	if p.Isolates || p.CannotCut == nil || len(p.Points) != 0 {
		t.Fatalf("nothing holds the belt, yet %+v", p)
	}
	same(t, "path that can't be cut", p.CannotCut.Steps, []string{"stonebend/grain-in-leg", "link stonebend/run-back", "stonebend/leg", "link stonebend/shaft", "stonebend/leg-motor"})
	if want := "fit a lockable block or pin in link stonebend/shaft, stonebend/leg to"; !strings.HasPrefix(strings.Replace(p.WouldHaveToFit, "stonebend/leg-motor to stonebend/leg", "stonebend/leg to stonebend/leg-motor", 1), want) {
		t.Errorf("%q", p.WouldHaveToFit)
	}
	// a pinned belt clamp holds it
	for _, l := range s.Links {
		if l.Name == "shaft" {
			l.Device = &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BLOCK, Panel: "head", Device: "clamp", Lockable: true}
		}
	}
	p = mustPlan(t, mustBuild(t, s.Drawing), "stonebend/motor", asked)
	same(t, "points", p.Points, []string{"stonebend/head/clamp", "stonebend/mcc-1/leg"})
}

// TestPartIsSource exposes a source: nothing can be fitted ahead of it.
func TestPartIsSource(t *testing.T) {
	s := legHouse()
	s.zone("gear", "utility electricity")
	p := mustPlan(t, mustBuild(t, s.Drawing), "stonebend/gear", single)
	if p.Isolates || p.CannotCut == nil || !strings.Contains(p.WouldHaveToFit, "stonebend/utility, which is itself a source") {
		t.Errorf("%+v", p)
	}
	same(t, "path", p.CannotCut.Steps, []string{"stonebend/utility"})
}

// TestUnknownZone asks every question about a zone that isn't there.
func TestUnknownZone(t *testing.T) {
	g := mustBuild(t, legHouse().Drawing)
	const z = "stonebend/attic"
	_, e1 := g.Plan(z, single)
	_, e2 := g.Describe(z, nil, single)
	_, e3 := g.Examine(z, nil, single)
	_, e4 := g.Reach(z)
	_, e5 := g.Stores(z, nil)
	_, e6 := g.Proofs(z)
	_, _, e7 := g.ReachNow(nil, z)
	for i, err := range []error{e1, e2, e3, e4, e5, e6, e7} {
		if err == nil || !strings.Contains(err.Error(), `zone "stonebend/attic" isn't in the current drawings`) {
			t.Errorf("question %d: %v", i+1, err)
		}
	}
	if _, ok := g.Zone(z); ok || g.Isolation(z) != asked {
		t.Error("the zone is there")
	}
	if _, err := g.Plan("stonebend/motor", 7); err == nil {
		t.Error("isolation 7 is accepted")
	}
}
