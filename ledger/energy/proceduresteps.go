package energy

import (
	"fmt"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	practice = "common practice, no source"
	contents = "29 CFR 1910.147(c)(4)(ii)"
)

func (w *writer) scope() Section {
	s := Section{Title: "scope and intended use", Element: "(A)"}
	name := w.z.ID
	if w.z.Label != "" {
		name = fmt.Sprintf("%s (%s)", w.z.Label, w.z.ID)
	}
	var parts []string
	for _, p := range w.z.Parts {
		parts = append(parts, p.Node)
	}
	isolation := "one locked device on every path"
	if need(w.level) == 2 {
		isolation = "two locked devices, or one blank, on every path"
	}
	s.Steps = append(s.Steps,
		tell(contents+"(A)", "use this procedure for work in zone %s and for nothing else; it keeps energy from %s while people work there", name, firstFew(parts)),
		tell(contents, "it stands on the drawings of the yards as they are now; when a drawing changes or differs from the steel, stop and have it made anew"),
		tell(contents+"(B)", "isolation: %s", isolation))
	if w.z.WaivedBy != "" && need(w.level) == 1 {
		s.Steps = append(s.Steps, tell(practice, "double isolation is WAIVED by %s: %s", w.z.WaivedBy, w.z.WaivedWhy))
	}
	if w.z.Entered {
		s.Steps = append(s.Steps, tell("29 CFR 1910.272(g)(1)(i), (g)(1)(iii)", "people enter this zone: a bin-entry permit comes first, with the air tested where the rule asks for it"))
	}
	s.Steps = append(s.Steps, tell(contents, "anyone who sees a step left out or a lock disturbed stops the work and calls the supervisor; the co-op's own measures follow (fill in: ______)"))
	return s
}

func (w *writer) who() Section {
	yards := map[string]bool{}
	var far []string
	for _, p := range w.points {
		if y := p.line.Yard; y != w.z.Yard && !yards[y] {
			yards[y] = true
			far = append(far, y)
		}
	}
	s := Section{Title: "who", Element: "(C)", Steps: []Step{
		tell("29 CFR 1910.147(c)(8)", "only authorised employees who do this work lock and tag: (fill in: ______)"),
		tell("29 CFR 1910.147(f)(3)(ii)(A), (C)", "one authorised employee is responsible for the whole job, knows who is in the zone, and coordinates all crews and yards: (fill in: ______)"),
		tell("29 CFR 1910.147(d)(4)(i)", "everyone at risk hangs their own lock, keyed once, with its key on them, on each point or on a box that holds the points' keys"),
		tell("29 CFR 1910.333(b)(2)(iv)", "a qualified person takes every electrical reading: (fill in: ______)"),
	}}
	if len(far) > 0 {
		s.Steps = append(s.Steps, tell("29 CFR 1910.147(f)(3)(ii)(C)", "points at %s too: name a person there who opens and locks them: (fill in: ______)", firstFew(far)))
	}
	return s
}

func (w *writer) energies() Section {
	s := Section{Title: "energy that reaches the zone", Element: "(B)"}
	held := map[string][]string{}
	for _, p := range w.points {
		for _, source := range p.sources {
			held[source] = append(held[source], p.line.Point)
		}
	}
	// group the rest by what holds them, in the order of the points
	far := map[string]*Step{}
	var farther []*Step
	for _, n := range w.sources {
		id := w.g.nodes[n].id
		if w.direct[n] {
			s.Steps = append(s.Steps, w.at(n, names, "29 CFR 1910.147(d)(1)", "%s: %s, %s; held at %s", w.called(n), w.media(n), w.size(n), strings.Join(held[id], ", ")))
			s.Steps[len(s.Steps)-1].Sources = []string{id}
			continue
		}
		by := strings.Join(held[id], ", ")
		if far[by] == nil {
			far[by] = &Step{Clause: "29 CFR 1910.147(d)(1)", act: names}
			farther = append(farther, far[by])
		}
		far[by].Sources = append(far[by].Sources, id)
		far[by].Text = fmt.Sprintf("through machines and lines that hang together, held at %s: %s", by, strings.Join(far[by].Sources, ", "))
	}
	for _, x := range farther {
		s.Steps = append(s.Steps, *x)
	}
	for i := range w.stores {
		x := &w.stores[i]
		n := w.g.nodeAt[x.ID]
		text := fmt.Sprintf("%s: stored %s; %s", w.called(n), mediumWord(x.Medium), x.HowWorkedOut)
		if x.What == "" && x.Joules > 0 {
			text = fmt.Sprintf("%s: stored %s, %s J; %s", w.called(n), mediumWord(x.Medium), short(x.Joules), x.HowWorkedOut)
		}
		if x.Hazard != "" {
			text += "; " + x.Hazard
		}
		s.Steps = append(s.Steps, w.at(n, tells, "29 CFR 1910.147(d)(1)", "%s", text))
	}
	for i := range w.g.nodes {
		if n := int32(i); w.g.feedsBack[i] && w.behind.in[i] {
			s.Steps = append(s.Steps, w.at(n, tells, "29 CFR 1910.333(b)(2)(ii)(D)", "%s can turn and feed its supply back: it must stand still or be blocked before anyone touches its terminals", w.called(n)))
		}
	}
	if len(s.Steps) == 0 {
		s.Steps = append(s.Steps, tell("29 CFR 1910.147(d)(1)", "the drawings show no source and no store that reaches the zone: have them walked against the steel before trusting that"))
	}
	s.Steps = append(s.Steps, tell("29 CFR 1910.147(d)(1)", "before shutting down, every authorised employee knows these energies, what they can do, and how each is controlled"))
	return s
}

// media names what leaves a source.
func (w *writer) media(n int32) string {
	var words []string
	have := map[recordv1.Medium]bool{}
	for _, a := range w.g.outOf.of(n) {
		if m := w.g.links[a.link].medium; !have[m] {
			have[m] = true
			words = append(words, mediumWord(m))
		}
	}
	return strings.Join(words, " and ")
}

func (w *writer) size(n int32) string {
	if v := w.g.volts[n]; v > 0 {
		return fmt.Sprintf("%g V nominal", v)
	}
	return "how much the drawing doesn't say, read it off the plate (fill in: ______)"
}

func (w *writer) notify() Section {
	s := Section{Title: "tell people", Element: "(C)", Steps: []Step{
		tell("29 CFR 1910.147(c)(9)", "tell every affected person before the first lock goes on: what stops, why, for how long (fill in: ______)"),
	}}
	var dark []string
	for _, x := range w.machines {
		if id := w.g.nodes[x.node].id; x.dark && !w.z.exposes(id) {
			dark = append(dark, id)
		}
	}
	if len(dark) > 0 {
		s.Steps = append(s.Steps, tell("29 CFR 1910.147(c)(9)", "these stop with it, tell whoever runs them: %s", strings.Join(dark, ", ")))
	}
	return s
}

func (w *writer) shutDown() Section {
	s := Section{Title: "shut down, against the flow of grain", Element: "(B)"}
	for _, x := range w.machines {
		text := "stop " + w.called(x.node)
		switch {
		case x.feed:
			text = "hold back the feed from " + w.called(x.node)
		case x.fire:
			text = "put out the fire in " + w.called(x.node) + " and let its fan cool it before the fan stops"
		}
		if len(x.controls) > 0 {
			text += " at " + firstFew(x.controls)
		}
		switch {
		case x.ring:
			text += "; it is fed in a ring, so first see that it has run empty"
		case !x.feed && !x.dark:
			text += ", so that its grain doesn't pile up"
		}
		s.Steps = append(s.Steps, w.at(x.node, tells, "29 CFR 1910.147(d)(2)", "%s", text))
	}
	s.Steps = append(s.Steps, tell("29 CFR 1910.147(d)(2)", "let each run empty before the next is stopped, then see that everything above stands still"))
	return s
}

func (w *writer) isolate() Section {
	s := Section{Title: "open, lock and tag every point", Element: "(B)"}
	for i := range w.points {
		p := &w.points[i]
		step := Step{Clause: "29 CFR 1910.147(d)(3)", Yard: p.line.Yard, Place: p.line.Place, Point: p.line.Point, Sources: p.sources, act: isolates}
		step.Text = opening(p.line.Kind) + " " + p.called()
		if stage(p.line.Kind) == 2 {
			step.Text += ", with every point before it locked and nothing moving"
		}
		step.Test = seen(p.line.Kind)
		if len(p.parts) > 0 {
			step.Test += "; proved later by the readings at " + firstFew(p.parts)
		}
		lock := Step{Clause: "29 CFR 1910.147(d)(4)(i), (d)(4)(ii), (c)(5)(iii)", Yard: p.line.Yard, Place: p.line.Place, Point: p.line.Point, act: locks,
			Text: "each hangs their own lock and tag on it (or locks the box that holds its key): " + p.line.HardwareText,
			Test: tried(p.line.Kind)}
		if p.line.Note != "" {
			lock.Text += "; " + p.line.Note
		}
		s.Steps = append(s.Steps, step, lock)
	}
	if len(w.points) == 0 {
		s.Steps = append(s.Steps, tell("29 CFR 1910.147(d)(3)", "no source reaches the zone on these drawings, so there is nothing to lock"))
	}
	return s
}

// opening is the word for putting a device in the safe position.
func opening(k recordv1.DeviceKind) string {
	switch k {
	case recordv1.DeviceKind_DEVICE_KIND_PLUG:
		return "pull"
	case recordv1.DeviceKind_DEVICE_KIND_VALVE, recordv1.DeviceKind_DEVICE_KIND_GATE:
		return "close"
	case recordv1.DeviceKind_DEVICE_KIND_BLOCK, recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return "fit"
	}
	return "open"
}

// seen is how a crew can see that a device is in the safe position.
func seen(k recordv1.DeviceKind) string {
	switch k {
	case recordv1.DeviceKind_DEVICE_KIND_PLUG:
		return "see free air between plug and socket"
	case recordv1.DeviceKind_DEVICE_KIND_VALVE, recordv1.DeviceKind_DEVICE_KIND_GATE:
		return "see that its handle or blade shows fully closed"
	case recordv1.DeviceKind_DEVICE_KIND_BLOCK:
		return "see it seated and taking the load"
	case recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return "see it bolted tight"
	}
	return "see that its handle shows off"
}

// tried is how a lock is tested.
func tried(k recordv1.DeviceKind) string {
	switch k {
	case recordv1.DeviceKind_DEVICE_KIND_PLUG:
		return "try to plug it in: it must not go"
	case recordv1.DeviceKind_DEVICE_KIND_BLOCK, recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return "try to take it out against the lock: it must not move"
	}
	return "try to work the handle against the lock: it must not move"
}

func (w *writer) release() Section {
	s := Section{Title: "release stored energy", Element: "(B)"}
	for i := range w.stores {
		x := &w.stores[i]
		n := w.g.nodeAt[x.ID]
		text := w.called(n) + ": "
		if x.WaitSeconds > 0 {
			text += fmt.Sprintf("wait %d s from the last opening, then ", x.WaitSeconds)
		}
		text += x.Release
		if x.BuildsUp {
			text += fmt.Sprintf("; it can build up again: look again every %d s (%s)", x.RecheckSeconds, x.RecheckSource)
		}
		step := w.at(n, releases, "29 CFR 1910.147(d)(5)(i)", "%s", text)
		step.Test = storeProof(x).Text
		if !strings.Contains(step.Test, x.Limit) {
			step.Test = x.Limit + ": " + step.Test
		}
		s.Steps = append(s.Steps, step)
	}
	if len(w.stores) == 0 {
		s.Steps = append(s.Steps, tell("29 CFR 1910.147(d)(5)(i)", "the drawings show no store behind these points; look for springs, raised parts, pressure and heat all the same"))
	}
	return s
}
