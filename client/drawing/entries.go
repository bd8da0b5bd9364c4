package drawing

import (
	"strings"

	"github.com/goccy/go-yaml/ast"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// These are the fields of each group, as the file calls them, in the order written.
var (
	drawingFields = []string{"yard", "revision", "title", "stock", "templates", "use", "nodes", "links", "zones"}
	stockFields   = []string{"hardware", "count"}
	nodeFields    = []string{"name", "kind", "label", "place", "volts", "interlock", "feeds_back", "store", "starts", "start"}
	linkFields    = []string{"name", "from", "to", "medium", "device", "one_way"}
	deviceFields  = []string{"kind", "panel", "device", "lockable", "hardware", "holes", "poles", "rating", "under_holders_control", "leaves_conductor_closed", "label"}
	zoneFields    = []string{"name", "label", "isolation", "waived_by", "waived_why", "entered", "parts"}
	partFields    = []string{"node", "media"}
)

func join(list []string) string { return strings.Join(list, ", ") }

func (r *reader) node(n ast.Node) (*recordv1.Node, *spot) {
	node := &recordv1.Node{}
	at := r.fields(n, "a node", nodeFields, func(key string, v ast.Node) *spot {
		switch key {
		case "name":
			return r.text(v, "name", &node.Name)
		case "kind":
			return r.word(v, nodeWords, (*int32)(&node.Kind))
		case "label":
			return r.text(v, "label", &node.Label)
		case "place":
			return r.text(v, "place", &node.Place)
		case "volts":
			return r.amount(v, "volts", &node.Volts)
		case "interlock":
			return r.text(v, "interlock", &node.Interlock)
		case "feeds_back":
			return r.flag(v, "feeds_back", &node.FeedsBack)
		case "start":
			return r.word(v, startWords, (*int32)(&node.StartKind))
		case "store":
			var s *spot
			node.Store, s = r.store(v)
			return s
		case "starts":
			return r.list(v, "starts", func(v ast.Node) *spot {
				var name string
				s := r.text(v, "a machine that starts", &name)
				node.Starts = append(node.Starts, name)
				return s
			})
		}
		return nil
	})
	return node, at
}

func (r *reader) stock(n ast.Node) (*recordv1.Stock, *spot) {
	stock := &recordv1.Stock{}
	at := r.fields(n, "an entry of the stock", stockFields, func(key string, v ast.Node) *spot {
		switch key {
		case "hardware":
			return r.word(v, hardwareWords, (*int32)(&stock.Hardware))
		case "count":
			return r.count(v, "count", &stock.Count)
		}
		return nil
	})
	return stock, at
}

func (r *reader) link(n ast.Node) (*recordv1.Link, *spot) {
	link := &recordv1.Link{}
	at := r.fields(n, "a link", linkFields, func(key string, v ast.Node) *spot {
		switch key {
		case "name":
			return r.text(v, "name", &link.Name)
		case "from":
			return r.text(v, "from", &link.From)
		case "to":
			return r.text(v, "to", &link.To)
		case "medium":
			return r.word(v, mediumWords, (*int32)(&link.Medium))
		case "device":
			var s *spot
			link.Device, s = r.device(v)
			return s
		case "one_way":
			return r.text(v, "one_way", &link.OneWay)
		}
		return nil
	})
	return link, at
}

func (r *reader) device(n ast.Node) (*recordv1.Device, *spot) {
	device := &recordv1.Device{}
	at := r.fields(n, "a device", deviceFields, func(key string, v ast.Node) *spot {
		switch key {
		case "kind":
			return r.word(v, deviceWords, (*int32)(&device.Kind))
		case "panel":
			return r.text(v, "panel", &device.Panel)
		case "device":
			return r.text(v, "device", &device.Device)
		case "lockable":
			return r.flag(v, "lockable", &device.Lockable)
		case "holes":
			return r.count(v, "holes", &device.Holes)
		case "hardware":
			return r.word(v, hardwareWords, (*int32)(&device.Hardware))
		case "poles":
			return r.count(v, "poles", &device.Poles)
		case "rating":
			return r.text(v, "rating", &device.Rating)
		case "under_holders_control":
			return r.flag(v, "under_holders_control", &device.UnderHoldersControl)
		case "leaves_conductor_closed":
			return r.flag(v, "leaves_conductor_closed", &device.LeavesConductorClosed)
		case "label":
			return r.text(v, "label", &device.Label)
		}
		return nil
	})
	return device, at
}

func (r *reader) zone(n ast.Node) (*recordv1.Zone, *spot) {
	zone := &recordv1.Zone{}
	at := r.fields(n, "a zone", zoneFields, func(key string, v ast.Node) *spot {
		switch key {
		case "name":
			return r.text(v, "name", &zone.Name)
		case "label":
			return r.text(v, "label", &zone.Label)
		case "isolation":
			return r.word(v, isolationWords, (*int32)(&zone.Isolation))
		case "waived_by":
			return r.text(v, "waived_by", &zone.WaivedBy)
		case "waived_why":
			return r.text(v, "waived_why", &zone.WaivedWhy)
		case "entered":
			return r.flag(v, "entered", &zone.Entered)
		case "parts":
			return r.list(v, "parts", func(v ast.Node) *spot {
				part, s := r.part(v)
				zone.Parts = append(zone.Parts, part)
				return s
			})
		}
		return nil
	})
	return zone, at
}

func (r *reader) part(n ast.Node) (*recordv1.ExposedPart, *spot) {
	part := &recordv1.ExposedPart{}
	at := r.fields(n, "a part", partFields, func(key string, v ast.Node) *spot {
		switch key {
		case "node":
			return r.text(v, "node", &part.Node)
		case "media":
			return r.list(v, "media", func(v ast.Node) *spot {
				var medium int32
				s := r.word(v, mediumWords, &medium)
				part.Media = append(part.Media, recordv1.Medium(medium))
				return s
			})
		}
		return nil
	})
	return part, at
}
