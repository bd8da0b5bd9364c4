package drawing

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Change is one entry that differs between two drawings.
type Change struct {
	// List is "drawing", "stock", "node", "link", "point" or "zone". Name is the name of
	// the entry. For a point it is "panel/device".
	List, Name string
	// What is "added", "removed" or "changed".
	What string
	// Fields are the changed fields, as the file calls them: "device.lockable".
	Fields []string
}

// Diff lists what differs from one drawing of a yard to the next: the drawing's own
// fields, then stock, nodes, links, points and zones by name. A point is also part of
// its link. It is listed when it is new, is gone, or moves to another link.
func Diff(before, after *recordv1.Drawing) []Change {
	var out []Change
	head := func(d *recordv1.Drawing) *recordv1.Drawing {
		return &recordv1.Drawing{Yard: d.GetYard(), Revision: d.GetRevision(), Title: d.GetTitle()}
	}
	if fields := changed(head(before), head(after)); len(fields) > 0 {
		out = append(out, Change{"drawing", after.GetYard(), "changed", fields})
	}
	out = append(out, entries("stock", before.GetStock(), after.GetStock(), func(s *recordv1.Stock) string { return hardwareWords.write(int32(s.GetHardware())) })...)
	out = append(out, entries("node", before.GetNodes(), after.GetNodes(), (*recordv1.Node).GetName)...)
	out = append(out, entries("link", before.GetLinks(), after.GetLinks(), (*recordv1.Link).GetName)...)
	out = append(out, points(before, after)...)
	return append(out, entries("zone", before.GetZones(), after.GetZones(), (*recordv1.Zone).GetName)...)
}

func entries[T proto.Message](list string, before, after []T, name func(T) string) []Change {
	old := make(map[string]T, len(before))
	for _, x := range before {
		old[name(x)] = x
	}
	var out []Change
	seen := make(map[string]bool, len(after))
	for _, x := range after {
		n := name(x)
		seen[n] = true
		was, ok := old[n]
		if !ok {
			out = append(out, Change{List: list, Name: n, What: "added"})
		} else if fields := changed(was, x); len(fields) > 0 {
			out = append(out, Change{list, n, "changed", fields})
		}
	}
	for _, x := range before {
		if !seen[name(x)] {
			out = append(out, Change{List: list, Name: name(x), What: "removed"})
		}
	}
	slices.SortStableFunc(out, func(a, b Change) int { return strings.Compare(a.Name, b.Name) })
	return out
}

func points(before, after *recordv1.Drawing) []Change {
	find := func(d *recordv1.Drawing) map[string]string {
		m := make(map[string]string)
		for _, l := range d.GetLinks() {
			if l.GetDevice().GetLockable() {
				m[l.GetDevice().GetPanel()+"/"+l.GetDevice().GetDevice()] = l.GetName()
			}
		}
		return m
	}
	old, now := find(before), find(after)
	var out []Change
	for p, link := range now {
		if was, ok := old[p]; !ok {
			out = append(out, Change{List: "point", Name: p, What: "added"})
		} else if was != link {
			out = append(out, Change{"point", p, "changed", []string{"link"}})
		}
	}
	for p := range old {
		if _, ok := now[p]; !ok {
			out = append(out, Change{List: "point", Name: p, What: "removed"})
		}
	}
	slices.SortFunc(out, func(a, b Change) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// changed names the fields in which two messages of one kind differ. Lists and single
// values are compared as a whole, groups field by field.
func changed(a, b proto.Message) []string {
	var out []string
	var walk func(prefix string, a, b protoreflect.Message)
	walk = func(prefix string, a, b protoreflect.Message) {
		fields := a.Descriptor().Fields()
		for i := range fields.Len() {
			f := fields.Get(i)
			name := prefix + fileKey(string(f.Name()))
			switch {
			case f.Message() != nil && !f.IsList() && a.Has(f) && b.Has(f):
				walk(name+".", a.Get(f).Message(), b.Get(f).Message())
			case a.Has(f) != b.Has(f) || !a.Get(f).Equal(b.Get(f)):
				out = append(out, name)
			}
		}
	}
	walk("", a.ProtoReflect(), b.ProtoReflect())
	return out
}
