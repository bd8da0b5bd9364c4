package energy

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// hookedLocks is how many locks a hasp takes; common practice, no source.
const hookedLocks = 6

// Line is one point of a plan as a crew carries it to the panel: what it is, where it
// is, how it is opened, and what it takes to hang everybody's lock on it.
type Line struct {
	Point               string // "yard/panel/device"
	Yard, Panel, Device string
	Label               string
	Kind                recordv1.DeviceKind
	// Place is where to find it. It is "" if the drawing does not say.
	Place string
	// Poles and Rating come from the drawing. They are 0 and "" if it does not say.
	Poles  uint32
	Rating string
	// Hardware makes the device take a lock. Drawn says that the drawing names it.
	// Otherwise it is what this kind of device commonly takes (common practice, no
	// source).
	Hardware recordv1.Hardware
	Drawn    bool
	// HardwareText says it in words, with poles and rating, such as "clip for a 3-pole
	// 60 A breaker".
	HardwareText string
	// Takes is how many locks fit without a hasp. People is how many locks must hang.
	Takes, People int
	// Needs is every piece of hardware for this line, a hasp included.
	Needs []Need
	// GroupBox: even a hasp does not take so many locks. So the key of one lock goes
	// into a box that everybody locks.
	GroupBox bool
	// HoldersControl: it isolates only while the holder keeps the plug with them.
	HoldersControl bool
	// Note is what else to mind, or "".
	Note string
}

// Need is a piece of hardware that a line needs.
type Need struct {
	Hardware recordv1.Hardware
	// Count is for this line. InPlan is for all lines of the plan in this yard.
	Count, InPlan int
	// Have is how many the yard has. It is -1 if its drawing lists no stock at all.
	Have int
}

// Short reports whether the yard is known to have too few for the plan.
func (n Need) Short() bool { return n.Have >= 0 && n.Have < n.InPlan }

func (n Need) String() string {
	s := fmt.Sprintf("%d %s", n.Count, pieceWord(n.Hardware))
	switch {
	case n.Have < 0:
		return s + " (the drawing doesn't say what the yard has)"
	case n.Short():
		return s + fmt.Sprintf(" (TOO FEW: the plan needs %d, the yard has %d)", n.InPlan, n.Have)
	}
	return s + fmt.Sprintf(" (the yard has %d)", n.Have)
}

// furnishing is what the graph knows besides its paths.
type furnishing struct {
	kits      []kit                // per point
	startKind []recordv1.StartKind // per node
	volts     []float64            // per node
	feedsBack []bool               // per node
	// stock is per yard. A yard that lists none is missing.
	stock map[string]map[recordv1.Hardware]uint32
}

// kit is what the drawing says about how the device takes a lock.
type kit struct {
	hardware       recordv1.Hardware
	holes, poles   uint32
	rating         string
	holdersControl bool
}

func (g *Graph) furnish(ds []*recordv1.Drawing) {
	g.kits = make([]kit, len(g.points))
	g.startKind = make([]recordv1.StartKind, len(g.nodes))
	g.volts = make([]float64, len(g.nodes))
	g.feedsBack = make([]bool, len(g.nodes))
	g.stock = map[string]map[recordv1.Hardware]uint32{}
	for _, d := range ds {
		for _, n := range d.GetNodes() {
			i := g.nodeAt[d.GetYard()+"/"+n.GetName()]
			g.startKind[i], g.volts[i], g.feedsBack[i] = n.GetStartKind(), n.GetVolts(), n.GetFeedsBack()
		}
		for _, l := range d.GetLinks() {
			x := l.GetDevice()
			if !isolationPoint(x) {
				continue
			}
			p := g.pointAt[d.GetYard()+"/"+x.GetPanel()+"/"+x.GetDevice()]
			g.kits[p] = kit{x.GetHardware(), x.GetHoles(), x.GetPoles(), x.GetRating(), x.GetUnderHoldersControl()}
		}
		if len(d.GetStock()) == 0 {
			continue
		}
		shelf := map[recordv1.Hardware]uint32{}
		for _, s := range d.GetStock() {
			shelf[s.GetHardware()] = s.GetCount()
		}
		g.stock[d.GetYard()] = shelf
	}
}

// Lines returns one line for each point of the plan, in the order of its points, for
// this many people hanging their locks. Fewer than one person counts as one. A point
// that is not on the drawings has a line with only a note.
func (g *Graph) Lines(plan Plan, people int) []Line {
	people = max(1, people)
	type shelf struct {
		yard string
		h    recordv1.Hardware
	}
	total := map[shelf]int{}
	lines := make([]Line, 0, len(plan.Points))
	for _, id := range plan.Points {
		i, ok := g.pointAt[id]
		if !ok {
			lines = append(lines, Line{Point: id, Yard: yardOf(id), People: people, Note: "not an isolation point in the current drawings: compute the plan again"})
			continue
		}
		l := g.line(i, people)
		for _, n := range l.Needs {
			total[shelf{l.Yard, n.Hardware}] += n.Count
		}
		lines = append(lines, l)
	}
	for i := range lines {
		for j := range lines[i].Needs {
			n := &lines[i].Needs[j]
			n.InPlan, n.Have = total[shelf{lines[i].Yard, n.Hardware}], -1
			if stock, listed := g.stock[lines[i].Yard]; listed {
				n.Have = int(stock[n.Hardware])
			}
		}
	}
	return lines
}

func (g *Graph) line(point int32, people int) Line {
	p, k := &g.points[point], g.kits[point]
	l := Line{Point: p.ID, Yard: p.Yard, Panel: p.Panel, Device: p.Device, Label: p.Label, Kind: p.Kind, Place: g.placeOf(point),
		Poles: k.poles, Rating: k.rating, Hardware: k.hardware, Drawn: k.hardware != recordv1.Hardware_HARDWARE_UNSPECIFIED,
		People: people, Takes: int(p.Holes), HoldersControl: k.holdersControl}
	if !l.Drawn {
		l.Hardware = usualHardware(p.Kind, k)
		if k.holdersControl && people > 1 { // one holder cannot keep it for the others
			l.Hardware = recordv1.Hardware_HARDWARE_PLUG_BOX
		}
	}
	if l.Hardware == recordv1.Hardware_HARDWARE_HASP {
		l.Takes = max(l.Takes, hookedLocks)
	}
	l.HardwareText = hardwareText(l.Hardware, p.Kind, k)
	if l.Hardware != recordv1.Hardware_HARDWARE_NONE {
		l.Needs = append(l.Needs, Need{Hardware: l.Hardware, Count: 1})
	}
	if people > l.Takes {
		if l.Hardware != recordv1.Hardware_HARDWARE_HASP {
			l.Needs = append(l.Needs, Need{Hardware: recordv1.Hardware_HARDWARE_HASP, Count: 1})
		}
		// a hasp takes one hole and gives six; the other holes stay
		l.GroupBox = l.Hardware == recordv1.Hardware_HARDWARE_HASP || people > l.Takes-1+hookedLocks
	}
	slices.SortFunc(l.Needs, func(a, b Need) int { return cmp.Compare(a.Hardware, b.Hardware) })
	var notes []string
	if l.HoldersControl {
		notes = append(notes, "it isolates only while the holder keeps the plug with them, 29 CFR 1910.147(a)(2)(iii)(A) (unchecked); for others it is locked in a box")
	}
	if l.GroupBox {
		notes = append(notes, fmt.Sprintf("%d locks are more than device and hasp take: use a group lock box", people))
	}
	l.Note = strings.Join(notes, "; ")
	return l
}

// placeOf is where to find a point: the place that its panel is named after, otherwise
// that of the nodes it stands between, in its own yard.
func (g *Graph) placeOf(point int32) string {
	l, p := &g.links[g.pointLink[point]], &g.points[point]
	var places []string
	for _, n := range []int32{l.from, l.to} {
		place := g.nodes[n].place
		if place == "" || yardOf(g.nodes[n].id) != p.Yard {
			continue
		}
		if strings.ReplaceAll(strings.ToLower(place), " ", "-") == p.Panel {
			return place
		}
		places = append(places, place)
	}
	switch {
	case len(places) == 0:
		return ""
	case len(places) == 1 || places[0] == places[1]:
		return places[0]
	}
	return "between " + places[0] + " and " + places[1]
}

// usualHardware is what a kind of device commonly takes if the drawing names no hardware
// and no holes (common practice, no source).
func usualHardware(k recordv1.DeviceKind, x kit) recordv1.Hardware {
	switch {
	case x.holes > 0 || x.holdersControl:
		return recordv1.Hardware_HARDWARE_NONE
	case k == recordv1.DeviceKind_DEVICE_KIND_BREAKER:
		return recordv1.Hardware_HARDWARE_BREAKER_CLIP
	case k == recordv1.DeviceKind_DEVICE_KIND_PLUG:
		return recordv1.Hardware_HARDWARE_PLUG_BOX
	case k == recordv1.DeviceKind_DEVICE_KIND_VALVE:
		return recordv1.Hardware_HARDWARE_VALVE_COVER
	case k == recordv1.DeviceKind_DEVICE_KIND_GATE:
		return recordv1.Hardware_HARDWARE_PIN
	case k == recordv1.DeviceKind_DEVICE_KIND_BLOCK:
		return recordv1.Hardware_HARDWARE_BLOCK
	case k == recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return recordv1.Hardware_HARDWARE_CHAIN
	}
	return recordv1.Hardware_HARDWARE_NONE
}

// hardwareText words the hardware to suit the device, such as "padlock straight into the
// disconnect's own 2 holes".
func hardwareText(h recordv1.Hardware, kind recordv1.DeviceKind, k kit) string {
	what := devices[kind].word
	if k.rating != "" {
		what = k.rating + " " + what
	}
	if k.poles > 0 {
		what = fmt.Sprintf("%d-pole %s", k.poles, what)
	}
	switch {
	case h == recordv1.Hardware_HARDWARE_NONE && k.holdersControl:
		return "no hardware: the holder keeps the " + what + " with them"
	case h == recordv1.Hardware_HARDWARE_NONE && k.holes > 1:
		return fmt.Sprintf("padlocks straight into the %d holes of the %s", k.holes, what)
	case h == recordv1.Hardware_HARDWARE_NONE:
		return "padlock straight into the hole of the " + what
	}
	return fmt.Sprintf("%s for a %s", pieceWord(h), what)
}

// pieceWord spells a kind of hardware out.
func pieceWord(h recordv1.Hardware) string {
	switch h {
	case recordv1.Hardware_HARDWARE_NONE:
		return "own hole"
	case recordv1.Hardware_HARDWARE_HASP:
		return "hasp"
	case recordv1.Hardware_HARDWARE_BREAKER_CLIP:
		return "breaker clip"
	case recordv1.Hardware_HARDWARE_VALVE_COVER:
		return "valve cover"
	case recordv1.Hardware_HARDWARE_PLUG_BOX:
		return "plug box"
	case recordv1.Hardware_HARDWARE_BLOCK:
		return "block"
	case recordv1.Hardware_HARDWARE_PIN:
		return "pin"
	case recordv1.Hardware_HARDWARE_CHAIN:
		return "chain"
	}
	return "unknown hardware"
}
