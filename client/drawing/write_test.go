package drawing

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// anyText leans to what YAML readers get wrong.
func anyText(t *rapid.T, what string) string {
	nasty := []string{"", "true", "no", "~", "null", "12", "1e6", "0x10", "1:30", "- a", "a: b", "a #b", "#a", "{a}", "[a", "*a", "&a", "!a", "%a", "@a", "`a",
		"'a'", `"a"`, `a\b`, "a\nb", "a\tb", " a", "a ", "a\r\nb", "\x00", "\x1b", "\u0085", "\u00a0", "\u2028", "\ufeff", "übung 😀", "2026-11-25", "<<", "=", "?", ": ", "---", "...", "millrow/cp-1", "a--b", "|", ">"}
	return rapid.OneOf(rapid.SampledFrom(nasty), rapid.StringMatching(`[a-z][a-z0-9-]{0,8}`), rapid.String()).Draw(t, what)
}

func anyWord(t *rapid.T, w words) int32 {
	numbers := []int32{0}
	for n := range w.word {
		numbers = append(numbers, n)
	}
	slices.Sort(numbers)
	return rapid.SampledFrom(numbers).Draw(t, w.what)
}

func anyDrawing(t *rapid.T) *recordv1.Drawing {
	d := &recordv1.Drawing{Yard: anyText(t, "yard"), Revision: rapid.Uint32().Draw(t, "revision"), Title: anyText(t, "title")}
	for range rapid.IntRange(0, 2).Draw(t, "stock") {
		d.Stock = append(d.Stock, &recordv1.Stock{Hardware: recordv1.Hardware(anyWord(t, hardwareWords)), Count: rapid.Uint32().Draw(t, "count")})
	}
	for range rapid.IntRange(0, 3).Draw(t, "nodes") {
		n := &recordv1.Node{Name: anyText(t, "name"), Kind: recordv1.NodeKind(anyWord(t, nodeWords)), Label: anyText(t, "label"), Place: anyText(t, "place"),
			Volts: rapid.Float64Range(0, 1e300).Draw(t, "volts"), Interlock: anyText(t, "interlock"), FeedsBack: rapid.Bool().Draw(t, "feeds back"), StartKind: recordv1.StartKind(anyWord(t, startWords)),
			Starts: rapid.SliceOfN(rapid.Custom(func(t *rapid.T) string { return anyText(t, "start") }), 0, 3).Draw(t, "starts")}
		if rapid.Bool().Draw(t, "store") {
			n.Store = &recordv1.Store{Medium: recordv1.Medium(anyWord(t, mediumWords)), Joules: rapid.Float64Range(0, 1e300).Draw(t, "joules"),
				WaitSeconds: rapid.Uint32().Draw(t, "wait"), Release: anyText(t, "release"), BuildsUp: rapid.Bool().Draw(t, "builds up"), RecheckSeconds: rapid.Uint32().Draw(t, "recheck")}
			if kind := rapid.SampledFrom(append([]string{""}, figureNames...)).Draw(t, "what"); kind != "" {
				for _, slot := range slots(kind, n.Store) {
					switch into := slot.(type) {
					case *float64:
						*into = rapid.Float64Range(0, 1e300).Draw(t, "figure")
					case *uint32:
						*into = rapid.Uint32().Draw(t, "seconds")
					}
				}
			}
		}
		d.Nodes = append(d.Nodes, n)
	}
	for range rapid.IntRange(0, 3).Draw(t, "links") {
		l := &recordv1.Link{Name: "l-" + anyText(t, "name"), From: anyText(t, "from"), To: anyText(t, "to"), Medium: recordv1.Medium(anyWord(t, mediumWords)), OneWay: anyText(t, "one way")}
		if rapid.Bool().Draw(t, "device") {
			l.Device = &recordv1.Device{Kind: recordv1.DeviceKind(anyWord(t, deviceWords)), Panel: anyText(t, "panel"), Device: anyText(t, "device"),
				Lockable: rapid.Bool().Draw(t, "lockable"), Holes: rapid.Uint32().Draw(t, "holes"), LeavesConductorClosed: rapid.Bool().Draw(t, "closed"), Label: anyText(t, "label"),
				Hardware: recordv1.Hardware(anyWord(t, hardwareWords)), Poles: rapid.Uint32().Draw(t, "poles"), Rating: anyText(t, "rating"), UnderHoldersControl: rapid.Bool().Draw(t, "held")}
		}
		d.Links = append(d.Links, l)
	}
	for range rapid.IntRange(0, 3).Draw(t, "zones") {
		z := &recordv1.Zone{Name: anyText(t, "name"), Label: anyText(t, "label"), Isolation: recordv1.Isolation(anyWord(t, isolationWords)),
			WaivedBy: anyText(t, "by"), WaivedWhy: anyText(t, "why"), Entered: rapid.Bool().Draw(t, "entered")}
		for range rapid.IntRange(0, 3).Draw(t, "parts") {
			p := &recordv1.ExposedPart{Node: anyText(t, "node")}
			for range rapid.IntRange(0, 2).Draw(t, "media") {
				// A list of media has no way to write "none of them".
				if m := recordv1.Medium(anyWord(t, mediumWords)); m != 0 {
					p.Media = append(p.Media, m)
				}
			}
			z.Parts = append(z.Parts, p)
		}
		d.Zones = append(d.Zones, z)
	}
	return d
}

func TestWriteThenParse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := anyDrawing(t)
		data := Write(want)
		got, err := Parse("x.yaml", data)
		if err != nil {
			t.Fatalf("%v\n%s", err, data)
		}
		if !proto.Equal(got.Drawing, want) {
			t.Fatalf("read back\n%v\nwant\n%v\nfrom\n%s", got.Drawing, want, data)
		}
		// Windows editors end lines with two characters.
		if got, err := Parse("x.yaml", bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n"))); err != nil || !proto.Equal(got.Drawing, want) {
			t.Fatalf("with CRLF: %v\n%s", err, data)
		}
	})
}

// A drawing that can't be read back must not be read back as another.
func TestWriteOfWhatParseRefuses(t *testing.T) {
	store := func(joules float64) *recordv1.Drawing {
		return &recordv1.Drawing{Nodes: []*recordv1.Node{{Name: "a", Store: &recordv1.Store{Joules: joules}}}}
	}
	for _, d := range []*recordv1.Drawing{
		store(-1),
		{Nodes: []*recordv1.Node{{Kind: 99}}},
		{Links: []*recordv1.Link{{Medium: -1}}},
	} {
		if got, err := Parse("x.yaml", Write(d)); err == nil {
			t.Errorf("%v was read back as %v", d, got.Drawing)
		}
	}
	if out := string(Write(&recordv1.Drawing{Title: "a\xffb"})); !strings.Contains(out, "a\ufffdb") {
		t.Errorf("bytes that are no text: %q", out)
	}
	if got, err := Parse("x.yaml", Write(&recordv1.Drawing{Nodes: []*recordv1.Node{nil}})); err != nil || len(got.Drawing.Nodes) != 1 {
		t.Errorf("an empty node: %v", err)
	}
}
