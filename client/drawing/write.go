package drawing

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Write renders a drawing in the form that Parse reads. Reading it again gives the same
// drawing. What Parse would refuse, such as an unknown kind or negative joules, is
// written so that Parse refuses it. Bytes that are not UTF-8 are replaced. Links are
// always written with their names.
func Write(d *recordv1.Drawing) []byte {
	var b bytes.Buffer
	var head group
	head.text("yard", d.GetYard())
	if d.GetRevision() != 0 {
		head.add("revision", fmt.Sprint(d.GetRevision()))
	}
	head.text("title", d.GetTitle())
	for _, f := range head.fields {
		fmt.Fprintln(&b, f)
	}
	section(&b, "stock", d.GetStock(), func(s *recordv1.Stock) { fmt.Fprintf(&b, "  - %s\n", writeStock(s)) })
	section(&b, "nodes", d.GetNodes(), func(n *recordv1.Node) { fmt.Fprintf(&b, "  - %s\n", writeNode(n)) })
	section(&b, "links", d.GetLinks(), func(l *recordv1.Link) { fmt.Fprintf(&b, "  - %s\n", writeLink(l)) })
	section(&b, "zones", d.GetZones(), func(z *recordv1.Zone) { writeZone(&b, z) })
	if b.Len() == 0 {
		return []byte("{}\n")
	}
	return b.Bytes()
}

func section[T any](b *bytes.Buffer, name string, list []T, write func(T)) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s:\n", name)
	for _, e := range list {
		write(e)
	}
}

// group is the fields of one entry. Empty fields are left out.
type group struct{ fields []string }

func (g *group) add(key, value string) { g.fields = append(g.fields, key+": "+value) }

func (g *group) text(key, value string) {
	if value != "" {
		g.add(key, quote(value))
	}
}

func (g *group) word(key string, w words, number int32) {
	if number != 0 {
		g.add(key, w.write(number))
	}
}

func (g *group) whole(key string, value uint32) {
	if value != 0 {
		g.add(key, fmt.Sprint(value))
	}
}

func (g *group) number(key string, value float64) {
	if value != 0 {
		g.add(key, strconv.FormatFloat(value, 'f', -1, 64))
	}
}

// wait adds a wait, unless there is none.
func (g *group) wait(key string, seconds uint32) {
	if seconds != 0 {
		g.add(key, (time.Duration(seconds) * time.Second).String())
	}
}

func (g *group) flag(key string, value bool) {
	if value {
		g.add(key, "true")
	}
}

func (g *group) String() string { return "{" + strings.Join(g.fields, ", ") + "}" }

func writeStock(s *recordv1.Stock) string {
	var g group
	g.word("hardware", hardwareWords, int32(s.GetHardware()))
	g.add("count", fmt.Sprint(s.GetCount()))
	return g.String()
}

func writeNode(n *recordv1.Node) string {
	var g group
	g.text("name", n.GetName())
	g.word("kind", nodeWords, int32(n.GetKind()))
	g.text("label", n.GetLabel())
	g.text("place", n.GetPlace())
	g.number("volts", n.GetVolts())
	g.text("interlock", n.GetInterlock())
	g.flag("feeds_back", n.GetFeedsBack())
	if s := n.GetStore(); s != nil {
		g.add("store", writeStore(s))
	}
	if starts := n.GetStarts(); len(starts) > 0 {
		quoted := make([]string, len(starts))
		for i, name := range starts {
			quoted[i] = quote(name)
		}
		g.add("starts", "["+join(quoted)+"]")
	}
	g.word("start", startWords, int32(n.GetStartKind()))
	return g.String()
}

func writeLink(l *recordv1.Link) string {
	var g group
	g.text("name", l.GetName())
	g.text("from", l.GetFrom())
	g.text("to", l.GetTo())
	g.word("medium", mediumWords, int32(l.GetMedium()))
	if d := l.GetDevice(); d != nil {
		var device group
		device.word("kind", deviceWords, int32(d.GetKind()))
		device.text("panel", d.GetPanel())
		device.text("device", d.GetDevice())
		device.flag("lockable", d.GetLockable())
		device.word("hardware", hardwareWords, int32(d.GetHardware()))
		device.whole("holes", d.GetHoles())
		device.whole("poles", d.GetPoles())
		device.text("rating", d.GetRating())
		device.flag("under_holders_control", d.GetUnderHoldersControl())
		device.flag("leaves_conductor_closed", d.GetLeavesConductorClosed())
		device.text("label", d.GetLabel())
		g.add("device", device.String())
	}
	g.text("one_way", l.GetOneWay())
	return g.String()
}

// writeZone gives each part a line of its own, because people check them one by one.
func writeZone(b *bytes.Buffer, z *recordv1.Zone) {
	var g group
	g.text("name", z.GetName())
	g.text("label", z.GetLabel())
	g.word("isolation", isolationWords, int32(z.GetIsolation()))
	g.text("waived_by", z.GetWaivedBy())
	g.text("waived_why", z.GetWaivedWhy())
	g.flag("entered", z.GetEntered())
	if len(g.fields) == 0 && len(z.GetParts()) == 0 {
		fmt.Fprint(b, "  - {}\n")
		return
	}
	lead := "  - "
	for _, f := range g.fields {
		fmt.Fprintf(b, "%s%s\n", lead, f)
		lead = "    "
	}
	if len(z.GetParts()) == 0 {
		return
	}
	fmt.Fprintf(b, "%sparts:\n", lead)
	for _, p := range z.GetParts() {
		var part group
		part.text("node", p.GetNode())
		if media := p.GetMedia(); len(media) > 0 {
			list := make([]string, len(media))
			for i, m := range media {
				list[i] = mediumWords.write(int32(m))
			}
			part.add("media", "["+join(list)+"]")
		}
		fmt.Fprintf(b, "      - %s\n", part.String())
	}
}

// bare is text that needs no quotes in any YAML reader.
var bare = regexp.MustCompile(`^[a-z][a-z0-9]*([ /-]+[a-z0-9]+)*$`)

func quote(s string) string {
	switch s {
	case "true", "false", "null", "yes", "no", "on", "off", "y", "n":
	default:
		if bare.MatchString(s) {
			return s
		}
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\ufffd") {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ', r >= 0x7f && r <= 0xa0, r == 0x2028, r == 0x2029, r == 0xfeff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
