package energy

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// workHouse is legHouse with grain: a pit feeds a drag, the drag a leg, the leg
// a distributor belt and a bin; a charged drive hangs on the motor and the
// other yard holds the air.
func workHouse() []*recordv1.Drawing {
	s := legHouse()
	s.Nodes[0].Volts = 480
	s.add("source pit @truck-pit").Label = "grain in the truck pit"
	s.add("bus boot @boot-pit")
	s.add("machine belt @gallery")
	s.add("control belt-start @gallery").Starts = []string{"belt"}
	s.add("store drive @head-house").Store = &recordv1.Store{Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Release: "read the DC terminals",
		What: &recordv1.Store_Capacitor{Capacitor: &recordv1.Capacitor{Farads: 2000e-6, Volts: 680, Ohms: 100e3, LabelSeconds: 600}}}
	s.link("pit-gate: pit grain drag, gate pit/gate")
	s.link("pit-pan: pit grain boot, blank pit/pan")
	s.link("drag-spout: drag grain boot")
	s.link("dig: boot grain leg")
	s.link("head: leg grain belt")
	s.link("belt-feed: leg-motor electricity belt")
	s.link("drive-wire: leg-motor electricity drive")
	far := newSketch("millrow")
	far.add("source compressor @shed")
	far.add("store tank @shed").Store = &recordv1.Store{Medium: recordv1.Medium_MEDIUM_AIR, Release: "open the drain", BuildsUp: true,
		What: &recordv1.Store_Vessel{Vessel: &recordv1.Vessel{CubicMetres: 0.3, Kilopascals: 860}}}
	far.link("supply: compressor air tank, valve shed/supply")
	far.link("hose: tank air stonebend/leg")
	z := s.zone("house", "leg motion, grain, air", "leg-motor electricity")
	z.Label, z.Isolation, z.WaivedBy, z.WaivedWhy = "inside the leg casing", single, "nia", "a rake from outside"
	return []*recordv1.Drawing{s.Drawing, far.Drawing}
}

// housePlan opens the two buckets instead of the one feeder of them all.
func housePlan(t testing.TB, g *Graph) Plan {
	t.Helper()
	p, err := g.Describe("stonebend/house", []string{"millrow/shed/supply", "stonebend/mcc-1/drag", "stonebend/mcc-1/leg", "stonebend/pit/gate", "stonebend/pit/pan"}, asked)
	if err != nil || !p.Isolates {
		t.Fatalf("%+v, %v", p.Live, err)
	}
	return p
}

func mustWrite(t testing.TB, g *Graph, zone string, plan Plan) Procedure {
	t.Helper()
	p, err := g.Procedure(zone, plan)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func section(t testing.TB, p Procedure, title string) []Step {
	t.Helper()
	for _, s := range p.Sections {
		if strings.HasPrefix(s.Title, title) {
			return s.Steps
		}
	}
	t.Fatalf("no section %q", title)
	return nil
}

// TestProcedure reads one procedure through: 29 CFR 1910.147(c)(4)(ii)(A) to
// (D), (d)(1) to (d)(6), (e)(1) to (e)(3), (f)(4), in that order.
func TestProcedure(t *testing.T) {
	g := mustBuild(t, workHouse()...)
	plan := housePlan(t, g)
	p := mustWrite(t, g, "stonebend/house", plan)

	t.Run("sections", func(t *testing.T) { procedureSections(t, p) })
	t.Run("energy", func(t *testing.T) { procedureEnergies(t, p) })
	t.Run("order", func(t *testing.T) { procedureOrder(t, p) })
	t.Run("stores", func(t *testing.T) { procedureStores(t, p) })
	t.Run("verify", func(t *testing.T) { procedureVerify(t, p) })
}

// procedureSections: every element of (c)(4)(ii) has its section, in the order of the
// work, and every step its number and its clause.
func procedureSections(t *testing.T, p Procedure) {
	var elements, titles []string
	n := 0
	for _, s := range p.Sections {
		titles = append(titles, s.Title)
		elements = append(elements, s.Element)
		if len(s.Steps) == 0 {
			t.Errorf("%s is empty", s.Title)
		}
		for _, x := range s.Steps {
			n++
			if x.Number != n || x.Text == "" || !strings.Contains(x.Clause, "19") && x.Clause != "common practice, no source" {
				t.Errorf("step %d: %+v", n, x)
			}
		}
	}
	same(t, "sections", titles, []string{"scope and intended use", "who", "energy that reaches the zone", "tell people", "shut down, against the flow of grain",
		"open, lock and tag every point", "release stored energy", "verify before work", "work", "shift change, and locks that change hands",
		"how the control is tested", "clear and unlock", "energise, in reverse"})
	for _, e := range []string{"(A)", "(B)", "(C)", "(D)"} {
		if !slices.Contains(elements, e) {
			t.Errorf("nothing answers 1910.147(c)(4)(ii)%s", e)
		}
	}
	same(t, "yards", p.Yards, []string{"millrow", "stonebend"})
}

// procedureEnergies: every source that reaches the zone is named with what holds it back.
func procedureEnergies(t *testing.T, p Procedure) {
	var energies []string
	for _, x := range section(t, p, "energy") {
		energies = append(energies, x.Text)
	}
	for _, want := range []string{
		"stonebend/utility: electricity, 480 V nominal; held at stonebend/mcc-1/drag, stonebend/mcc-1/leg",
		"grain in the truck pit (stonebend/pit): grain, how much the drawing doesn't say, read it off the plate (fill in: ______); held at stonebend/pit/gate, stonebend/pit/pan",
		"millrow/compressor: air, how much the drawing doesn't say, read it off the plate (fill in: ______); held at millrow/shed/supply",
		"stonebend/drive: stored electricity; C V^2 / 2, 0.002 F at 680 V: 462.4 J; R C ln(V/50 V), 100000 ohm: 523 s, slower than the 60 s that NEC 460.6 gives a capacitor bank; the label says 600 s, the longer counts; shock: 10 J or more at 100 V or more (LBNL table 2.2.13)",
	} {
		if !slices.Contains(energies, want) {
			t.Errorf("no line %q in\n%s", want, strings.Join(energies, "\n"))
		}
	}
}

// procedureOrder: machines stop upstream first, and the fan last, as it passes no
// grain. Points open in order: switches, then valves and gates, then the pan that hands
// put in; and they close in reverse, the feed last of all.
func procedureOrder(t *testing.T, p Procedure) {
	var stops []string
	for _, x := range section(t, p, "shut down") {
		stops = append(stops, x.Text)
	}
	same(t, "shut down", stops, []string{
		"hold back the feed from grain in the truck pit (stonebend/pit)",
		"stop stonebend/drag at stonebend/drag-start",
		"stop stonebend/leg",
		"stop stonebend/belt at stonebend/belt-start",
		"stop stonebend/dust-fan",
		"stop leg motor (stonebend/leg-motor) at stonebend/leg-start, stonebend/radio-start",
		"let each run empty before the next is stopped, then see that everything above stands still",
	})

	var opened, tests []string
	for _, x := range section(t, p, "open") {
		if x.act == isolates {
			opened = append(opened, x.Text)
			tests = append(tests, x.Test)
		}
	}
	same(t, "opened", opened, []string{"open breaker stonebend/mcc-1/drag", "open breaker stonebend/mcc-1/leg", "close gate stonebend/pit/gate",
		"close valve millrow/shed/supply", "fit blank stonebend/pit/pan, with every point before it locked and nothing moving"})
	if want := "see that its handle shows off; proved later by the readings at stonebend/leg, stonebend/leg-motor"; tests[1] != want {
		t.Errorf("test of the breaker: %q", tests[1])
	}
	back := section(t, p, "energise")
	var closed []string
	for _, x := range back {
		if x.Point != "" {
			closed = append(closed, x.Point)
		}
	}
	same(t, "closed", closed, []string{"stonebend/pit/pan", "millrow/shed/supply", "stonebend/pit/gate", "stonebend/mcc-1/leg", "stonebend/mcc-1/drag"})
	if last := back[len(back)-2]; last.Node != "stonebend/pit" || !strings.HasPrefix(last.Text, "let the feed come") {
		t.Errorf("the feed doesn't come last: %q", last.Text)
	}
}

// procedureStores: stored energy is waited for, measured, and looked at again where it
// builds up.
func procedureStores(t *testing.T, p Procedure) {
	released := section(t, p, "release")
	if !strings.Contains(released[1].Text, "wait 600 s from the last opening, then read the DC terminals") || !strings.HasPrefix(released[1].Test, "measure terminal to terminal and each terminal to ground, DC and AC, below 50 V") {
		t.Errorf("%+v", released[1])
	}
	if !strings.Contains(released[0].Text, "look again every 1800 s (common practice, no source)") || section(t, p, "work")[1].Clause != "29 CFR 1910.147(d)(5)(ii)" {
		t.Errorf("%+v", released[0])
	}
}

// procedureVerify: people clear, then tries, then readings, and once what is no reading.
func procedureVerify(t *testing.T, p Procedure) {
	verify := section(t, p, "verify")
	order := ""
	for _, x := range verify {
		switch {
		case strings.Contains(x.Text, "people are clear"):
			order += "c"
		case strings.HasPrefix(x.Text, "people clear first"):
			order += "t"
		case x.act == verifies:
			order += "r"
		case strings.Contains(x.Text, NotReadings):
			order += "n"
		}
	}
	if order != "cttttrrrrrrn" {
		t.Errorf("verify: %s", order)
	}
}

// TestProcedureRefused: none is written on a plan that fails.
func TestProcedureRefused(t *testing.T) {
	ds := workHouse()
	g := mustBuild(t, ds...)
	plan := housePlan(t, g)
	short := plan
	short.Points = plan.Points[1:]
	crowd := plan
	crowd.Points = slices.Repeat(plan.Points, 101)
	stray := plan
	stray.Points = append(slices.Clone(plan.Points), "stonebend/mcc-1/tap")
	weak := plan
	weak.Zone, weak.Level = "stonebend/boot", double
	for name, x := range map[string]struct {
		zone, want string
		plan       Plan
	}{
		"no such zone":         {"stonebend/none", "isn't in the current drawings", plan},
		"another zone's plan":  {"stonebend/motor", "the plan is for \"stonebend/house\"", plan},
		"a point left out":     {"stonebend/house", "millrow/compressor reaches stonebend/leg", short},
		"more than any follow": {"stonebend/house", "split the zone", crowd},
		"a fuse":               {"stonebend/house", "never isolates", stray},
		"one where two":        {"stonebend/boot", "too few points on the way", weak},
	} {
		if p, err := g.Procedure(x.zone, x.plan); err == nil || !strings.Contains(err.Error(), x.want) || p.Sections != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	// a store nobody says how to empty
	ds[1].Nodes[1].Store.Release = " "
	g = mustBuild(t, ds...)
	if _, err := g.Procedure("stonebend/house", plan); err == nil || !strings.Contains(err.Error(), "store millrow/tank has no release step") {
		t.Errorf("no release step: %v", err)
	}
	// single isolation where the drawing wants double
	ds = workHouse()
	ds[0].Zones[2].Isolation = asked
	g = mustBuild(t, ds...)
	if _, err := g.Procedure("stonebend/house", plan); err == nil || !strings.Contains(err.Error(), "needs double") {
		t.Errorf("single for double: %v", err)
	}
}

// TestProcedureComplete takes each step that matters out of a sound procedure,
// and each test out of a step: every time it is found wanting.
func TestProcedureComplete(t *testing.T) {
	g := mustBuild(t, workHouse()...)
	plan := housePlan(t, g)
	z, _ := g.zone("stonebend/house")
	open, err := g.opened(plan.Points)
	if err != nil {
		t.Fatal(err)
	}
	w := g.writer(z, open, single)
	if err := w.missing(mustWrite(t, g, "stonebend/house", plan)); err != nil {
		t.Fatal(err)
	}
	tried := map[act]int{}
	sound := mustWrite(t, g, "stonebend/house", plan)
	for i, sec := range sound.Sections {
		for j, s := range sec.Steps {
			spoilt := func(f func(p *Procedure)) error {
				p := mustWrite(t, g, "stonebend/house", plan)
				f(&p)
				return w.missing(p)
			}
			without := spoilt(func(p *Procedure) { p.Sections[i].Steps = slices.Delete(p.Sections[i].Steps, j, j+1) })
			// the gate and the pan each hold the pit, so either step may go by the
			// source, and is missed by its point
			if s.act != tells {
				tried[s.act]++
				if without == nil {
					t.Errorf("step %d may go: %s", s.Number, s.Text)
				}
			}
			if untested := spoilt(func(p *Procedure) { p.Sections[i].Steps[j].Test = "" }); s.Test != "" && untested == nil {
				t.Errorf("step %d needs no test: %s", s.Number, s.Text)
			}
			if spoilt(func(p *Procedure) { p.Sections[i].Steps[j].Clause = "" }) == nil || spoilt(func(p *Procedure) { p.Sections[i].Steps[j].Text = " " }) == nil {
				t.Errorf("step %d may be empty", s.Number)
			}
			if s.act == isolates && len(s.Sources) == 1 && s.Point == "millrow/shed/supply" {
				if err := spoilt(func(p *Procedure) { p.Sections[i].Steps[j].Sources = nil }); err == nil || !strings.Contains(err.Error(), "source millrow/compressor") {
					t.Errorf("a source without a step: %v", err)
				}
			}
		}
	}
	if want := map[act]int{names: 3, isolates: 5, locks: 5, releases: 2, verifies: 6}; fmt.Sprint(tried) != fmt.Sprint(want) {
		t.Errorf("steps that matter: %v, want %v", tried, want)
	}
}

// TestDirectSources: what comes in the point's own medium is listed by itself;
// what could come round through turning machines is named in one line.
func TestDirectSources(t *testing.T) {
	ds := workHouse()
	s := &sketch{ds[0]}
	s.add("source bin-9").Label = "grain in bin 9"
	s.add("machine far-fan")
	s.add("source gas")
	s.add("bus mouth")
	s.add("source low-bin")
	s.add("source silo")
	s.add("machine filler")
	s.link("bin-9-spout: bin-9 grain mouth")
	s.link("bin-9-gate: mouth grain belt, gate gallery/bin-9") // below the leg
	s.link("overflow: mouth grain low-bin")                    // flows the other way
	s.link("silo-spout: silo grain pit")                       // behind another source
	s.link("fill: filler grain bin-9")
	s.link("far-feed: main electricity far-fan, breaker gear/far")
	s.link("far-gas: gas fuel gas far-fan, valve yard/gas")
	g := mustBuild(t, ds...)
	plan, err := g.Describe("stonebend/house", []string{"millrow/shed/supply", "stonebend/mcc-1/drag", "stonebend/mcc-1/leg", "stonebend/pit/gate", "stonebend/pit/pan", "stonebend/gallery/bin-9"}, asked)
	if err != nil || !plan.Isolates {
		t.Fatal(plan.Live, err)
	}
	var single, grouped []string
	for _, x := range section(t, mustWrite(t, g, "stonebend/house", plan), "energy") {
		switch {
		case x.act == names && x.Node != "":
			single = append(single, x.Node)
		case x.act == names:
			grouped = append(grouped, x.Text)
		}
	}
	same(t, "listed by itself", single, []string{"millrow/compressor", "stonebend/bin-9", "stonebend/pit", "stonebend/utility"})
	const far = "through machines and lines that hang together, held at stonebend/"
	same(t, "in one line", grouped, []string{far + "mcc-1/drag, stonebend/mcc-1/leg: stonebend/gas", far + "gallery/bin-9: stonebend/low-bin", far + "pit/gate, stonebend/pit/pan: stonebend/silo"})
	// what fills a bin that is held back may go on
	for _, x := range section(t, mustWrite(t, g, "stonebend/house", plan), "shut down") {
		if x.Node == "stonebend/filler" || x.Node == "stonebend/silo" {
			t.Errorf("%s", x.Text)
		}
	}
}

// TestProcedureShuffled: the order of nodes, links and zones in a drawing, and of
// the drawings, changes nothing.
func TestProcedureShuffled(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	write := func(ds []*recordv1.Drawing) string {
		g := mustBuild(t, ds...)
		plan := housePlan(t, g)
		eight, err := g.WithoutProcedure("stonebend/house", plan)
		if err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("%+v\n%+v\n%+v", mustWrite(t, g, "stonebend/house", plan), g.Lines(plan, 3), eight)
	}
	want := write(workHouse())
	for range 20 {
		ds := workHouse()
		for _, d := range ds {
			r.Shuffle(len(d.Nodes), func(i, j int) { d.Nodes[i], d.Nodes[j] = d.Nodes[j], d.Nodes[i] })
			r.Shuffle(len(d.Links), func(i, j int) { d.Links[i], d.Links[j] = d.Links[j], d.Links[i] })
			r.Shuffle(len(d.Zones), func(i, j int) { d.Zones[i], d.Zones[j] = d.Zones[j], d.Zones[i] })
		}
		slices.Reverse(ds)
		if got := write(ds); got != want {
			t.Fatalf("shuffled:\n%s\nwant\n%s", got, want)
		}
	}
}
