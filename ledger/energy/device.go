package energy

import (
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// trait is what a kind of device does to energy.
type trait struct {
	word string
	// isolates: it physically stops energy when open. It is an isolation point if it can
	// be locked.
	isolates bool
	// weight is how many devices it counts for on a path.
	weight int
	// direction: a link with this device may be one-way for some other, physical reason.
	// It is false where people tend to take the device itself for that reason.
	direction bool
}

// devices is the whole rule of what isolates.
//
// 29 CFR 1910.147(b), "energy isolating device": hand-operated breaker,
// disconnect switch, line valve, block and the like; push buttons, selector
// switches and other control-circuit devices are not. 29 CFR
// 1910.333(b)(2)(ii)(B): push buttons, selector switches and interlocks may not
// be the sole means of cutting off; interlocks never replace lockout.
//
// A blank closes a line positively and counts as two (UK HSE HSG253, positive
// isolation; clause details from memory).
var devices = map[recordv1.DeviceKind]trait{
	recordv1.DeviceKind_DEVICE_KIND_DISCONNECT: {"disconnect", true, 1, true},
	recordv1.DeviceKind_DEVICE_KIND_BREAKER:    {"breaker", true, 1, true},
	recordv1.DeviceKind_DEVICE_KIND_PLUG:       {"plug", true, 1, true},
	recordv1.DeviceKind_DEVICE_KIND_VALVE:      {"valve", true, 1, true},
	recordv1.DeviceKind_DEVICE_KIND_GATE:       {"gate", true, 1, true},
	recordv1.DeviceKind_DEVICE_KIND_BLOCK:      {"block", true, 1, true},
	recordv1.DeviceKind_DEVICE_KIND_BLANK:      {"blank", true, 2, true},

	recordv1.DeviceKind_DEVICE_KIND_PUSH_BUTTON:         {"push button", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_SELECTOR:            {"selector", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_INTERLOCK:           {"interlock", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_RELAY:               {"relay", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_CONTACTOR:           {"contactor", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_PROGRAMMABLE_OUTPUT: {"programmable output", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_DRIVE:               {"drive", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_CHECK_VALVE:         {"check valve", false, 0, false},
	recordv1.DeviceKind_DEVICE_KIND_FUSE:                {"fuse", false, 0, true},
	recordv1.DeviceKind_DEVICE_KIND_BACKSTOP:            {"backstop", false, 0, false},
}

// isolationPoint reports whether d is an isolation point: an isolating kind that can be
// locked and that opens every ungrounded conductor.
func isolationPoint(d *recordv1.Device) bool {
	return d != nil && devices[d.GetKind()].isolates && d.GetLockable() && !d.GetLeavesConductorClosed()
}

// whyNot says why a device isolates nothing. It is "" where the device isolates.
func whyNot(d *recordv1.Device) string {
	t := devices[d.GetKind()]
	switch {
	case !t.isolates:
		return "is " + a(t.word) + ": never isolates, 1910.147(b)"
	case d.GetLeavesConductorClosed():
		return "leaves an ungrounded conductor closed: isolates nothing, 1910.147(b)"
	case !d.GetLockable():
		return "is a " + t.word + " that can't take a lock: not an isolation point, 1910.147(b)"
	}
	return ""
}

// a puts the article before a word.
func a(word string) string {
	if word != "" && strings.ContainsRune("aeiou", rune(word[0])) {
		return "an " + word
	}
	return "a " + word
}

// notAReason are words in a one_way text that name something which passes energy both
// ways when it fails, sticks or is operated.
var notAReason = []string{
	"check valve", "non-return", "nonreturn", "backstop", "relay", "contactor",
	"interlock", "push button", "selector", "drive", "inverter",
}

// falseReason returns the device word that a one_way text rests on, or "". Words match
// whole: "driven" is not "drive".
func falseReason(text string) string {
	words := " " + strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return (r < 'a' || r > 'z') && r != '-'
	}), " ") + " "
	for _, w := range notAReason {
		if strings.Contains(words, " "+w+" ") || strings.Contains(words, " "+w+"s ") {
			return w
		}
	}
	return ""
}
