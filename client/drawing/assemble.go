package drawing

import (
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/goccy/go-yaml/ast"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// piece is the content of one chunk: parts of the drawing and where they stand.
type piece struct {
	drawing   recordv1.Drawing
	at        *spot
	errs      Errors
	templates []*template
	uses      []*use
}

// readAll reads the chunks, several at a time. Piece i belongs to chunk i.
func readAll(file text, chunks []chunk) []piece {
	pieces := make([]piece, len(chunks))
	var next atomic.Int64
	var work sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(chunks)) {
		work.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(chunks)); i = next.Add(1) - 1 {
				readChunk(file, chunks[i], &pieces[i])
			}
		})
	}
	work.Wait()
	return pieces
}

func readChunk(file text, c chunk, into *piece) {
	r := &reader{file: file, offset: c.line - 1}
	if root := r.tree(c.data); root != nil {
		if c.list != "" {
			list := r.section(c.list, root, &into.drawing)
			list.line, list.col = c.key.line, c.key.col
			into.at = &spot{fields: []field{{c.list, list}}}
		} else {
			into.at = r.drawing(root, &into.drawing)
		}
	}
	into.errs, into.templates, into.uses = r.errs, r.templates, r.uses
}

// drawing reads fields of the drawing itself.
func (r *reader) drawing(n ast.Node, d *recordv1.Drawing) *spot {
	return r.fields(n, "a drawing", drawingFields, func(key string, v ast.Node) *spot {
		switch key {
		case "yard":
			return r.text(v, "yard", &d.Yard)
		case "revision":
			return r.count(v, "revision", &d.Revision)
		case "title":
			return r.text(v, "title", &d.Title)
		default:
			return r.section(key, v, d)
		}
	})
}

// section reads a list of the drawing, or a stretch of it.
func (r *reader) section(key string, n ast.Node, d *recordv1.Drawing) *spot {
	return r.list(n, key, func(v ast.Node) *spot {
		var s *spot
		switch key {
		case "stock":
			var stock *recordv1.Stock
			stock, s = r.stock(v)
			d.Stock = append(d.Stock, stock)
		case "templates":
			s = r.template(v)
		case "use":
			s = r.use(v)
		case "nodes":
			var node *recordv1.Node
			node, s = r.node(v)
			d.Nodes = append(d.Nodes, node)
		case "links":
			var link *recordv1.Link
			link, s = r.link(v)
			d.Links = append(d.Links, link)
		case "zones":
			var zone *recordv1.Zone
			zone, s = r.zone(v)
			d.Zones = append(d.Zones, zone)
		}
		return s
	})
}

// assembly is the whole drawing, joined from its pieces.
type assembly struct {
	drawing *recordv1.Drawing
	root    *spot
	errs    Errors
}

func assemble(file text, pieces []piece) assembly {
	a := assembly{drawing: &recordv1.Drawing{}, root: &spot{line: 1, col: 1}}
	r := &reader{file: file}
	var templates []*template
	var uses []*use
	for i := range pieces {
		p := &pieces[i]
		r.errs = append(r.errs, p.errs[:min(len(p.errs), maxErrors-len(r.errs))]...)
		if p.at == nil {
			continue
		}
		for _, f := range p.at.fields {
			a.merge(r, f)
		}
		d := &p.drawing
		if d.Yard != "" {
			a.drawing.Yard = d.Yard
		}
		if d.Revision != 0 {
			a.drawing.Revision = d.Revision
		}
		if d.Title != "" {
			a.drawing.Title = d.Title
		}
		a.drawing.Stock = append(a.drawing.Stock, d.Stock...)
		templates, uses = append(templates, p.templates...), append(uses, p.uses...)
		a.drawing.Nodes = append(a.drawing.Nodes, d.Nodes...)
		a.drawing.Links = append(a.drawing.Links, d.Links...)
		a.drawing.Zones = append(a.drawing.Zones, d.Zones...)
	}
	a.expand(r, templates, uses)
	slices.SortStableFunc(r.errs, func(x, y Error) int {
		if x.Line != y.Line {
			return x.Line - y.Line
		}
		return x.Col - y.Col
	})
	// Do this last: finding an excerpt searches from the beginning of the file.
	for i, e := range r.errs {
		r.errs[i].Excerpt = file.excerpt(e.Line, e.Col)
	}
	a.errs = r.errs
	return a
}

// merge adds a field of a piece. The parts of one list all have their key at one place.
// A field with its key at another place was given twice.
func (a *assembly) merge(r *reader, f field) {
	seen := a.root.field(f.key)
	switch {
	case seen == nil:
		a.root.fields = append(a.root.fields, f)
	case seen.items != nil && f.at.items != nil && seen.line == f.at.line:
		seen.items = append(seen.items, f.at.items...)
	default:
		r.fail(*f.at, "a drawing has %q twice, first in line %d; keep one", f.key, seen.line)
	}
}
