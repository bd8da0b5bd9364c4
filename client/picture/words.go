package picture

import (
	"fmt"
	"strings"
	"unicode/utf8"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func kindWord(k recordv1.NodeKind) string {
	return plainWord("NODE_KIND_", k.String())
}

func plainWord(prefix, name string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", " ")
}

// order says what to do with a point of the plan.
func order(k recordv1.DeviceKind) string {
	switch k {
	case recordv1.DeviceKind_DEVICE_KIND_VALVE, recordv1.DeviceKind_DEVICE_KIND_GATE:
		return "shut"
	case recordv1.DeviceKind_DEVICE_KIND_BLOCK, recordv1.DeviceKind_DEVICE_KIND_BLANK:
		return "set"
	case recordv1.DeviceKind_DEVICE_KIND_PLUG:
		return "pull"
	}
	return "open"
}

// line is one line of text in a box.
type line struct {
	text string
	size float64
	bold bool
}

const (
	big   = 12.0
	small = 10.0
)

// lines makes the lines of a node's box.
func (t *thing) lines() []line {
	var out []line
	if t.part {
		out = append(out, line{"EXPOSED PART", big, true})
	}
	for _, s := range wrap(t.label, 25) {
		out = append(out, line{s, big, false})
	}
	for _, s := range wrap(t.id, 29) {
		out = append(out, line{s, small, false})
	}
	switch {
	case t.kind == recordv1.NodeKind_NODE_KIND_SOURCE:
		out = append(out, line{"SOURCE, " + t.word(), small, true})
	case t.kind == recordv1.NodeKind_NODE_KIND_CONTROL:
		out = append(out, line{"CONTROL, " + t.word(), small, true})
	case t.store != nil:
		out = append(out, line{"STORED: " + joules(t.store.Joules), small, true})
		if t.store.WaitSeconds > 0 {
			out = append(out, line{"wait " + wait(t.store.WaitSeconds), small, true})
		}
	default:
		out = append(out, line{t.word(), small, true})
	}
	return out
}

// lines makes the lines of a link: what stands in it, and its medium.
func (t *tie) lines() []line {
	medium := plainWord("MEDIUM_", t.link.GetMedium().String())
	if t.link.GetOneWay() != "" {
		medium += ", one way"
	}
	d := t.link.GetDevice()
	if d == nil {
		return []line{{medium, small, false}}
	}
	kind := plainWord("DEVICE_KIND_", d.GetKind().String())
	if t.lock == 0 {
		out := []line{{kind + ", " + medium, small, false}}
		if d.GetDevice() != "" {
			for _, s := range wrap(t.id, 29) {
				out = append(out, line{s, small, false})
			}
		}
		return out
	}
	out := []line{{fmt.Sprintf("LOCK %d: %s the %s", t.lock, order(d.GetKind()), kind), big, true}}
	for _, s := range wrap(t.id, 27) {
		out = append(out, line{s, small, true})
	}
	for _, s := range wrap(d.GetLabel(), 27) {
		out = append(out, line{s, small, false})
	}
	return append(out, line{medium, small, false})
}

// wrap breaks a text into lines of at most width characters, at spaces, slashes and
// hyphens where possible. It cuts what is left after three lines, and shows that.
func wrap(s string, width int) []string {
	var out []string
	for s = strings.TrimSpace(s); s != ""; s = strings.TrimLeft(s, " ") {
		if utf8.RuneCountInString(s) <= width {
			return append(out, s)
		}
		runes := []rune(s)
		cut := width
		for i := width; i > width/3; i-- {
			if runes[i-1] == ' ' || runes[i-1] == '/' || runes[i-1] == '-' || runes[i] == ' ' {
				cut = i
				break
			}
		}
		if len(out) == 2 {
			return append(out, string(runes[:width-1])+"…")
		}
		out = append(out, strings.TrimRight(string(runes[:cut]), " "))
		s = string(runes[cut:])
	}
	return out
}

func joules(j float64) string {
	switch {
	case j <= 0:
		return "energy not known"
	case j >= 1e6:
		return fmt.Sprintf("%.3g MJ", j/1e6)
	case j >= 1e3:
		return fmt.Sprintf("%.3g kJ", j/1e3)
	}
	return fmt.Sprintf("%.3g J", j)
}

func wait(seconds uint32) string {
	var out []string
	for _, u := range []struct {
		size uint32
		word string
	}{{3600, "h"}, {60, "min"}, {1, "s"}} {
		if n := seconds / u.size; n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, u.word))
		}
		seconds %= u.size
	}
	return strings.Join(out, " ")
}
