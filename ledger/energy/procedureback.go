package energy

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (w *writer) verify() Section {
	s := Section{Title: "verify before work", Element: "(D)", Steps: []Step{
		tell("29 CFR 1910.147(e)(2)(i), (d)(6)", "see that people are clear of everything that a try could move"),
	}}
	step := func(p *Proof) {
		n := w.g.nodeAt[p.Part]
		text := fmt.Sprintf("%s: %s", w.called(n), p.Text)
		if limit := p.LimitText(); limit != "-" {
			text = fmt.Sprintf("%s, %s, %s: %s", w.called(n), mediumWord(p.Medium), limit, p.Text)
		}
		a := verifies
		if p.Kind == recordv1.ReadingKind_READING_KIND_TRY {
			text, a = p.Text, tells
		}
		s.Steps = append(s.Steps, w.at(n, a, p.Source, "%s", text))
	}
	for i := range w.proofs {
		if p := &w.proofs[i]; p.Kind == recordv1.ReadingKind_READING_KIND_TRY {
			step(p)
		}
	}
	for i := range w.proofs {
		if p := &w.proofs[i]; p.Kind != recordv1.ReadingKind_READING_KIND_TRY {
			step(p)
		}
	}
	s.Steps = append(s.Steps,
		tell("29 CFR 1910.147(d)(6)", "%s", NotReadings),
		tell("29 CFR 1910.147(d)(6)", "anything that moves, lights or reads over its limit: stop, keep everybody out, find the cause; then every reading is taken again"))
	return s
}

func (w *writer) during() Section {
	s := Section{Title: "work", Element: "(B)", Steps: []Step{
		tell("29 CFR 1910.147(f)(3)(ii)(D)", "whoever joins hangs their own lock first, and may verify for themselves; whoever leaves takes their own off"),
	}}
	for i := range w.stores {
		if x := &w.stores[i]; x.BuildsUp {
			s.Steps = append(s.Steps, w.at(w.g.nodeAt[x.ID], tells, "29 CFR 1910.147(d)(5)(ii)", "every %d s: %s; when a look is missed, everybody leaves", x.RecheckSeconds, storeProof(x).Text))
		}
	}
	s.Steps = append(s.Steps, tell(practice, "when a point is closed, a lock gone or a drawing changed, everybody leaves and the verifying begins anew"))
	return s
}

func (w *writer) transfer() Section {
	return Section{Title: "shift change, and locks that change hands", Element: "(C)", Steps: []Step{
		tell("29 CFR 1910.147(f)(4)", "the oncoming person hangs their lock before the off-going one takes theirs off, point by point or at the box"),
		tell("29 CFR 1910.147(f)(4)", "the off-going responsible employee walks the points, the stores and the readings with the oncoming one, and both sign"),
		tell("29 CFR 1910.147(e)(3)", "each lock comes off by the hand that hung it; an absent owner's lock only by the co-op's removal rule: not at the site, tried to reach, told before working again"),
	}}
}

func (w *writer) testing() Section {
	return Section{Title: "how the control is tested", Element: "(D)", Steps: []Step{
		tell(contents+"(D)", "each lock by working the handle against it, each store and part by its reading or sight, each control by a try, as the steps above say; the readings are written down with instrument, time and name"),
		tell("29 CFR 1910.147(f)(1)", "to run or position the machine in between: tools out, people out, own locks off, energise, test, then open, lock, release and verify all over again"),
		tell("29 CFR 1910.147(c)(6)(i)", "once a year an authorised employee who does not use this procedure inspects it with those who do"),
	}}
}

func (w *writer) clear() Section {
	return Section{Title: "clear and unlock", Element: "(C)", Steps: []Step{
		tell("29 CFR 1910.147(e)(1)", "take out tools and parts, put the guards back, see that the machine is whole"),
		tell("29 CFR 1910.333(b)(2)(v)", "take off temporary grounds and jumpers and count them"),
		tell("29 CFR 1910.147(e)(2)(i)", "see that everybody is out and accounted for"),
		tell("29 CFR 1910.147(e)(3)", "each takes off their own lock and tag, the responsible employee last"),
		tell("29 CFR 1910.147(e)(2)(ii)", "tell every affected person that the locks are off, before anything is energised"),
	}}
}

// energise writes the way back. The points come in reverse order. The machines then
// start from the far end of the flow, so that nothing feeds a standing machine.
func (w *writer) energise() Section {
	s := Section{Title: "energise, in reverse", Element: "(B)", Steps: []Step{
		tell(practice, "energise only once the ledger shows the request approved; every control stands at off; a point that another job holds stays as it is"),
	}}
	for i := len(w.points) - 1; i >= 0; i-- {
		p := &w.points[i]
		s.Steps = append(s.Steps, Step{Clause: practice, Yard: p.line.Yard, Place: p.line.Place, Point: p.line.Point,
			Text: closing(p.line.Kind) + " " + p.called() + ", standing to the side"})
	}
	for i := len(w.machines) - 1; i >= 0; i-- {
		x := &w.machines[i]
		verb := "start"
		if x.feed {
			verb = "let the feed come from"
		}
		s.Steps = append(s.Steps, w.at(x.node, tells, practice, "%s %s", verb, w.called(x.node)))
	}
	s.Steps = append(s.Steps, tell("29 CFR 1910.147(c)(9)", "tell every affected person that it runs again"))
	return s
}

// closing is the word for putting a device back in service.
func closing(k recordv1.DeviceKind) string {
	switch k {
	case recordv1.DeviceKind_DEVICE_KIND_PLUG:
		return "plug in"
	case recordv1.DeviceKind_DEVICE_KIND_VALVE, recordv1.DeviceKind_DEVICE_KIND_GATE:
		return "open"
	case recordv1.DeviceKind_DEVICE_KIND_BLOCK, recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return "take out"
	}
	return "close"
}
