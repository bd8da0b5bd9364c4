package energy

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// place is where a device name was first met.
type place struct {
	link  int
	point bool
}

func (c *checker) links() {
	seen := make(map[string]int, len(c.d.GetLinks()))
	devices := make(map[string]place, len(c.d.GetLinks()))
	for i, l := range c.d.GetLinks() {
		at := func(field string) string { return fmt.Sprintf("links[%d].%s", i, field) }
		if !ValidName(l.GetName()) {
			c.bad(at("name"), "%q is no link name: %s", l.GetName(), nameRule)
		}
		if j, twice := seen[l.GetName()]; twice {
			c.bad(at("name"), "link %q is already links[%d]: give each its own name", l.GetName(), j)
		} else {
			seen[l.GetName()] = i
		}
		from, okFrom := c.node(func() string { return at("from") }, l.GetFrom())
		to, okTo := c.node(func() string { return at("to") }, l.GetTo())
		if okFrom && okTo && from == to {
			c.bad(at("to"), "link %q joins %s to itself: name the node at its other end", l.GetName(), to)
		}
		if !knownMedium(l.GetMedium()) {
			c.bad(at("medium"), "link %q has no known medium: spell one out", l.GetName())
		}
		if l.Device != nil {
			c.device(i, l, devices)
		}
		c.oneWay(i, l)
		if l.GetOneWay() != "" && okTo && l.GetMedium() == recordv1.Medium_MEDIUM_ELECTRICITY && c.ix.feedsBack[to] {
			c.bad(at("one_way"), "link %q is one-way, but %s can feed its supply back: leave one_way out", l.GetName(), to)
		}
	}
}

// oneWay refuses a direction that rests on a device which does not guarantee it: a check
// valve leaks back, a backstop slips, a relay and a drive pass both ways.
func (c *checker) oneWay(i int, l *recordv1.Link) {
	if l.GetOneWay() == "" {
		return
	}
	field := fmt.Sprintf("links[%d].one_way", i)
	if blank(l.GetOneWay()) {
		c.bad(field, "one_way of link %q is only spaces: give the physical reason, or leave it out", l.GetName())
		return
	}
	if !plain(l.GetOneWay()) {
		c.bad(field, "one_way is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
	}
	if t, ok := devices[l.GetDevice().GetKind()]; ok && !t.direction {
		c.bad(field, "%s passes energy both ways and never makes link %q one-way: leave one_way out, or draw the part that is the reason as a link of its own", a(t.word), l.GetName())
	} else if w := falseReason(l.GetOneWay()); w != "" {
		c.bad(field, "%s is no reason for link %q to be one-way, it passes energy both ways: leave one_way out, or give a physical reason", a(w), l.GetName())
	}
}

func (c *checker) device(i int, l *recordv1.Link, seen map[string]place) {
	at := func(field string) string { return fmt.Sprintf("links[%d].device.%s", i, field) }
	d := l.GetDevice()
	t, known := devices[d.GetKind()]
	if !known {
		c.bad(at("kind"), "the device of link %q has no known kind", l.GetName())
		return
	}
	if !plain(d.GetLabel()) {
		c.bad(at("label"), "label is too long or holds control characters: keep it to plain text of at most %d bytes", MaxText)
	}
	point := isolationPoint(d)
	named := d.GetPanel() != "" || d.GetDevice() != ""
	if point || named {
		if !ValidName(d.GetPanel()) {
			c.bad(at("panel"), "%q is no panel name: %s", d.GetPanel(), nameRule)
		}
		if !ValidName(d.GetDevice()) {
			c.bad(at("device"), "%q is no device name: %s", d.GetDevice(), nameRule)
		}
		id := d.GetPanel() + "/" + d.GetDevice()
		// contacts of one relay may stand in several links, but a lock must open one
		// known link
		if first, twice := seen[id]; !twice {
			seen[id] = place{i, point}
		} else if point || first.point {
			c.bad(at("device"), "%s/%s already stands in links[%d]: an isolation point stands in exactly one link", c.d.GetYard(), id, first.link)
		}
	}
	switch {
	case d.GetLockable() && !t.isolates:
		c.warn(at("lockable"), "%s never isolates, locked or not", a(t.word))
	case d.GetLockable() && d.GetLeavesConductorClosed():
		c.warn(at("leaves_conductor_closed"), "a %s that leaves a conductor closed isolates nothing, locked or not", t.word)
	case !d.GetLockable() && d.GetHoles() > 0:
		c.warn(at("holes"), "holes for locks, but not lockable: it isolates nothing")
	}
	if point && !fits(d.GetKind(), l.GetMedium()) {
		c.warn(at("kind"), "a %s in a link of %s: make sure that it stops that", t.word, mediumWord(l.GetMedium()))
	}
}

// fits reports whether a kind of isolating device suits the medium (common practice, no
// source).
func fits(k recordv1.DeviceKind, m recordv1.Medium) bool {
	switch m {
	case recordv1.Medium_MEDIUM_ELECTRICITY:
		return k <= recordv1.DeviceKind_DEVICE_KIND_PLUG
	case recordv1.Medium_MEDIUM_MOTION:
		return k == recordv1.DeviceKind_DEVICE_KIND_BLOCK
	case recordv1.Medium_MEDIUM_GRAIN:
		return k >= recordv1.DeviceKind_DEVICE_KIND_VALVE
	}
	return k >= recordv1.DeviceKind_DEVICE_KIND_VALVE && k != recordv1.DeviceKind_DEVICE_KIND_BLOCK
}

// mediumWord spells a medium out.
func mediumWord(m recordv1.Medium) string {
	switch m {
	case recordv1.Medium_MEDIUM_ELECTRICITY:
		return "electricity"
	case recordv1.Medium_MEDIUM_MOTION:
		return "motion"
	case recordv1.Medium_MEDIUM_GRAIN:
		return "grain"
	case recordv1.Medium_MEDIUM_AIR:
		return "air"
	case recordv1.Medium_MEDIUM_HYDRAULIC:
		return "hydraulic oil"
	case recordv1.Medium_MEDIUM_HEAT:
		return "heat"
	case recordv1.Medium_MEDIUM_FUEL_GAS:
		return "fuel gas"
	case recordv1.Medium_MEDIUM_CHEMICAL:
		return "chemical"
	}
	return "an unknown medium"
}
