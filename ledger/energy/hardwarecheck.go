package energy

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	maxStock = 100_000
	maxPoles = 12
	maxHoles = 1_000
	maxVolts = 1e6
)

// hardware reports what is wrong with the stock of the yard, the hardware and
// plates of its devices, and the start kinds and volts of its nodes.
func (c *checker) hardware() {
	if len(c.d.GetStock()) > len(recordv1.Hardware_name) {
		c.bad("stock", "%d lines of stock, but there are fewer kinds of hardware: one line for each kind", len(c.d.GetStock()))
		return
	}
	seen := map[recordv1.Hardware]int{}
	for i, s := range c.d.GetStock() {
		at := func(field string) string { return fmt.Sprintf("stock[%d].%s", i, field) }
		if !knownHardware(s.GetHardware()) || s.GetHardware() == recordv1.Hardware_HARDWARE_NONE {
			c.bad(at("hardware"), "stock of no known kind of hardware: name a hasp, breaker clip, valve cover, plug box, block, pin or chain")
		}
		if j, twice := seen[s.GetHardware()]; twice {
			c.bad(at("hardware"), "%s is already stock[%d]: one line for each kind", pieceWord(s.GetHardware()), j)
		}
		seen[s.GetHardware()] = i
		if s.GetCount() > maxStock {
			c.bad(at("count"), "%d pieces of stock, at most %d: mend the count", s.GetCount(), maxStock)
		}
	}
	for i, l := range c.d.GetLinks() {
		d := l.GetDevice()
		at := func(field string) string { return fmt.Sprintf("links[%d].device.%s", i, field) }
		if h := d.GetHardware(); h != recordv1.Hardware_HARDWARE_UNSPECIFIED && !knownHardware(h) {
			c.bad(at("hardware"), "the device of link %q takes no known kind of hardware", l.GetName())
		}
		if d.GetPoles() > maxPoles {
			c.bad(at("poles"), "%d poles on the device of link %q, at most %d: mend the count", d.GetPoles(), l.GetName(), maxPoles)
		}
		if d.GetHoles() > maxHoles {
			c.bad(at("holes"), "%d holes in the device of link %q, at most %d: mend the count", d.GetHoles(), l.GetName(), maxHoles)
		}
		if !plain(d.GetRating()) {
			c.bad(at("rating"), "rating is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
		}
		if d.GetUnderHoldersControl() && d.GetKind() != recordv1.DeviceKind_DEVICE_KIND_PLUG {
			c.bad(at("under_holders_control"), "%s can't be kept by its holder, only a plug can: take under_holders_control off", a(devices[d.GetKind()].word))
		}
	}
	for i, n := range c.d.GetNodes() {
		at := func(field string) string { return fmt.Sprintf("nodes[%d].%s", i, field) }
		if _, ok := recordv1.StartKind_name[int32(n.GetStartKind())]; !ok {
			c.bad(at("start_kind"), "control %q has no known start kind: local, remote, automatic, or leave it out", n.GetName())
		} else if n.GetStartKind() != 0 && len(n.GetStarts()) == 0 {
			c.bad(at("start_kind"), "node %q has a start kind but starts nothing: name the machines, or take it off", n.GetName())
		}
		// the comparison is also false for NaN
		if !(n.GetVolts() >= 0 && n.GetVolts() <= maxVolts) {
			c.bad(at("volts"), "volts of node %q are no number from 0 to %g: give 0 where nobody knows", n.GetName(), float64(maxVolts))
		}
	}
}

func knownHardware(h recordv1.Hardware) bool {
	_, ok := recordv1.Hardware_name[int32(h)]
	return ok && h != recordv1.Hardware_HARDWARE_UNSPECIFIED
}
