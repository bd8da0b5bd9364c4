package energy

import (
	"fmt"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// loneDevices warns of what is odd about a single device.
func (s *survey) loneDevices() {
	for i, l := range s.d.GetLinks() {
		d := l.GetDevice()
		field := fmt.Sprintf("links[%d].device.", i)
		if devices[d.GetKind()].isolates && d.GetLeavesConductorClosed() {
			s.say(field+"leaves_conductor_closed", "the %s in link %q leaves a conductor closed: open, it isolates nothing", devices[d.GetKind()].word, l.GetName())
		}
		if d.GetHardware() != 0 && !d.GetLockable() {
			s.say(field+"hardware", "the device in link %q says what locks it but not that it can be locked: say lockable, or leave hardware out", l.GetName())
		}
		if kinds, bound := goesOn[d.GetHardware()]; bound && d.GetKind() != 0 && !slices.Contains(kinds, d.GetKind()) {
			s.say(field+"hardware", "%s does not go on %s: look at the one in link %q again", a(pieceWord(d.GetHardware())), a(devices[d.GetKind()].word), l.GetName())
		}
	}
}

// goesOn are the kinds of device that each hardware fits. Hardware that is not listed
// fits any device (common practice, no source).
var goesOn = map[recordv1.Hardware][]recordv1.DeviceKind{
	recordv1.Hardware_HARDWARE_BREAKER_CLIP: {recordv1.DeviceKind_DEVICE_KIND_BREAKER},
	recordv1.Hardware_HARDWARE_VALVE_COVER:  {recordv1.DeviceKind_DEVICE_KIND_VALVE},
	recordv1.Hardware_HARDWARE_PLUG_BOX:     {recordv1.DeviceKind_DEVICE_KIND_PLUG},
	recordv1.Hardware_HARDWARE_BLOCK:        {recordv1.DeviceKind_DEVICE_KIND_BLOCK},
	recordv1.Hardware_HARDWARE_PIN:          {recordv1.DeviceKind_DEVICE_KIND_BLOCK, recordv1.DeviceKind_DEVICE_KIND_GATE},
}

// unlockable warns of a device that isolates but cannot be locked, if only this device
// could cut off a place that stays live with every lock on.
func (s *survey) unlockable() {
	locked := s.flood(func(w *wire) bool { return w.parts() })
	opened := s.flood(func(w *wire) bool { return w.parts() || devices[w.l.GetDevice().GetKind()].isolates })
	for x := range s.wires {
		w := &s.wires[x]
		d := w.l.GetDevice()
		if w.at < 0 || !devices[d.GetKind()].isolates || w.parts() {
			continue
		}
		near, dead := w.from, w.to
		if opened[dead] {
			near, dead = dead, near
		}
		if !opened[near] || opened[dead] || !locked[dead] {
			continue
		}
		why := "can't take a lock"
		if d.GetLeavesConductorClosed() {
			why = "leaves a conductor closed"
		}
		s.say(fmt.Sprintf("links[%d].device.lockable", w.at), "the %s in link %q %s and is all there is on the way to %s, which stays live whatever is locked: fit one that locks", devices[d.GetKind()].word, w.l.GetName(), why, s.ids[dead])
	}
}

// unlikePoles warns of two devices in line that open different numbers of poles. Where
// the feed has three phases, the one with fewer poles leaves one closed.
func (s *survey) unlikePoles() {
	set := newUnion(len(s.ids)) // joined by the wires that say no poles
	said := func(w *wire) bool { return w.electric() && w.l.GetDevice().GetPoles() > 0 }
	for x := range s.wires {
		if w := &s.wires[x]; w.electric() && !said(w) {
			set.join(w.from, w.to)
		}
	}
	edge := map[int32][]int32{}
	for x := range s.wires {
		if w := &s.wires[x]; said(w) {
			a, b := set.of(w.from), set.of(w.to)
			edge[a] = append(edge[a], int32(x))
			if a != b {
				edge[b] = append(edge[b], int32(x))
			}
		}
	}
	told := map[int]bool{}
	for n := range s.ids {
		two := edge[int32(n)]
		if len(two) != 2 {
			continue
		}
		less, more := &s.wires[two[0]], &s.wires[two[1]]
		if less.l.GetDevice().GetPoles() > more.l.GetDevice().GetPoles() {
			less, more = more, less
		}
		p, q := less.l.GetDevice().GetPoles(), more.l.GetDevice().GetPoles()
		if p >= 3 || q < 3 || less.at < 0 || told[less.at] {
			continue
		}
		told[less.at] = true
		s.say(fmt.Sprintf("links[%d].device.poles", less.at), "the device in link %q opens %d poles, the one in line with it in link %q opens %d: on a feed of three phases it leaves one closed", less.l.GetName(), p, more.l.GetName(), q)
	}
}

// oneWays warns of a direction that leaves out feed-back. Only grain falls one way, and
// heat flows one way. What is piped or wired can come back.
func (s *survey) oneWays() {
	for i, l := range s.d.GetLinks() {
		if l.GetOneWay() == "" {
			continue
		}
		field := fmt.Sprintf("links[%d].one_way", i)
		switch m := l.GetMedium(); m {
		case recordv1.Medium_MEDIUM_GRAIN, recordv1.Medium_MEDIUM_HEAT, recordv1.Medium_MEDIUM_UNSPECIFIED:
		case recordv1.Medium_MEDIUM_ELECTRICITY:
			s.say(field, "link %q says electricity can't come back: a turning motor, a transformer and a second source feed back; leave one_way out unless it truly can't", l.GetName())
		case recordv1.Medium_MEDIUM_MOTION:
			s.say(field, "link %q says motion can't come back: a loaded machine turns its motor; leave one_way out unless it truly can't", l.GetName())
		default:
			s.say(field, "link %q says %s can't come back: it flows to where the pressure is lower; leave one_way out unless it truly can't", l.GetName(), mediumWord(m))
		}
	}
}

// stock warns of hardware that devices need and the yard has none of. A yard that lists
// no stock is left out.
func (s *survey) stock() {
	if len(s.d.GetStock()) == 0 {
		return
	}
	have := map[recordv1.Hardware]bool{recordv1.Hardware_HARDWARE_NONE: true, recordv1.Hardware_HARDWARE_UNSPECIFIED: true}
	for _, x := range s.d.GetStock() {
		if x.GetCount() > 0 {
			have[x.GetHardware()] = true
		}
	}
	for i, l := range s.d.GetLinks() {
		if h := l.GetDevice().GetHardware(); !have[h] {
			have[h] = true // say it once
			s.say(fmt.Sprintf("links[%d].device.hardware", i), "the yard's stock has no such thing as %s, which the device in link %q needs: get some, or mend the list", a(pieceWord(h)), l.GetName())
		}
	}
}
