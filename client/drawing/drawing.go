// Package drawing reads a yard's energy drawing from YAML and writes it back.
// The form is short and meant to be typed and read by people:
//
//	yard: stonebend
//	revision: 1
//	title: Stonebend elevator, work house
//	stock:
//	  - {hardware: breaker clip, count: 12}
//	use:
//	  - {template: starter-local, name: leg-3, label: leg 3, feed: bus-1, panel: mcc-1, at: head-house, rating: 60 A}
//	nodes:
//	  - {name: utility, kind: source, label: "480 V service", volts: 480}
//	  - {name: buckets, kind: store, store: {medium: motion, raised_load: {pounds: 933, feet: 50}, release: set the belt clamp}}
//	  - {name: start, kind: control, starts: [leg-2-motor], start: remote}
//	links:
//	  - {name: feed, from: utility, to: bus-1, medium: electricity, device: {kind: breaker, panel: main, device: main-1, lockable: true, poles: 3}}
//	  - {from: leg-2, to: buckets, medium: motion}
//	zones:
//	  - name: leg-2-boot
//	    isolation: single
//	    waived_by: nia-okoro
//	    waived_why: the boot is opened from outside
//	    parts:
//	      - {node: leg-2, media: [motion, grain]}
//
// Fields are those of the Drawing message, with these differences:
//
//   - Waits are Go durations in whole seconds ("10m"): wait, label_wait, run_down,
//     cool, recheck.
//   - Kinds and media are plain words ("push button" or "push-button").
//   - A node's start_kind is called start.
//   - A link without a name is named after its ends ("a--b", then "a--b-2").
//   - A store has a group named after its kind. The fields of the group are named
//     after their unit. A supervisor who has only microfarads, feet, pounds, litres,
//     gallons, cubic feet, psi, bar or degrees Fahrenheit uses the field of that name.
//
// Nothing is guessed. What a drawing does not say about a device (lockable, poles,
// hardware) stays unknown.
//
// # Templates
//
// An entry of "use" stands for the nodes, links and zones of a template. The
// parameters that it gives replace <name>, <feed> and so on. The names in the
// template are made from the name of the use: leg-3-bucket, leg-3-motor, leg-3-start.
// The built-in templates are in templates.yaml (Templates lists them). A drawing can
// hold its own templates as well:
//
//	templates:
//	  - name: siren
//	    about: a siren on a breaker
//	    parameters: [name, feed]
//	    defaults: {label: <name>, clip: ""}
//	    nodes:
//	      - {name: <name>-siren, kind: machine, label: <label> siren}
//	    links:
//	      - {from: <feed>, to: <name>-siren, medium: electricity, device: {kind: breaker, panel: sirens, device: <name>, lockable: true, hardware: <clip>}}
//
// A use must give every parameter, and may give those that have a default. A field
// that ends up empty is left out. A template cannot use another template. An error
// inside an expansion is reported at the line of the use, and Locate gives that line
// too. Write writes what a template stands for, never the use.
//
// Reading is strict: an unknown field, a field given twice, a wrong type or an
// unknown word is an error that names its line and column. Anchors, aliases,
// merge keys and tags are refused, so that a short file cannot become a huge drawing.
// Package ledger/energy decides whether the drawing makes sense. Locate gives the
// place in the file of a field that it complains about.
package drawing

import (
	"bytes"
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// maxFile limits a file, in bytes.
	maxFile = 64 << 20
	// maxEntry limits one entry of a list, or one value beside the lists, in bytes.
	maxEntry = 256 << 10
	// maxErrors limits the errors that are reported for one file.
	maxErrors = 100
)

// Source is a drawing, with the place of each field in its file. It is safe for
// concurrent use as long as nobody changes Drawing.
type Source struct {
	// Drawing is what the file says.
	Drawing *recordv1.Drawing
	file    text
	root    *spot
}

// Parse reads a drawing. name is what errors call the file. The error is an Errors, in
// the order of the file, and the Source is then nil.
func Parse(name string, data []byte) (*Source, error) {
	file := text{name: name, data: bytes.TrimPrefix(data, []byte("\ufeff"))}
	if len(data) > maxFile {
		return nil, Errors{file.at(1, 1, fmt.Sprintf("the file has %d bytes; a drawing may have %d", len(data), maxFile))}
	}
	if bad := file.check(); bad != nil {
		return nil, Errors{*bad}
	}
	chunks, bad := split(file)
	if bad != nil {
		return nil, Errors{*bad}
	}
	a := assemble(file, readAll(file, chunks))
	if len(a.errs) > 0 {
		return nil, a.errs
	}
	nameLinks(a.drawing.Links)
	return &Source{Drawing: a.drawing, file: file, root: a.root}, nil
}

// Place turns a problem with a field, such as "links[3].from", into an error with line,
// column and an excerpt.
func (s *Source) Place(field, text string) Error {
	line, col := s.Locate(field)
	return s.file.at(line, col, text)
}

// nameLinks names links without a name after their ends. It keeps given names and never
// uses one of them twice.
func nameLinks(links []*recordv1.Link) {
	taken := make(map[string]bool, len(links))
	for _, l := range links {
		taken[l.GetName()] = true
	}
	count := make(map[string]int)
	for _, l := range links {
		if l.GetName() != "" || l.GetFrom() == "" || l.GetTo() == "" {
			continue
		}
		base := dashed(l.GetFrom()) + "--" + dashed(l.GetTo())
		name := base
		for {
			count[base]++
			if n := count[base]; n > 1 {
				name = fmt.Sprintf("%s-%d", base, n)
			}
			if !taken[name] {
				break
			}
		}
		l.Name = name
		taken[name] = true
	}
}
