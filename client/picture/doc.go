// Package picture draws a work zone, what feeds it and the plan that cuts it
// off, as SVG, or as text for Graphviz.
//
// Everything is told twice, by shape or line and by a word, so that a copy in
// black and white on a dirty clipboard says the same:
//
//   - a source is a box with pointed ends, a bus a plain box, a machine a round
//     one, a store a double one, a control one with cut corners;
//   - a point of the plan is black with a shackle, and says "LOCK 1";
//   - what people touch in the zone has a heavy frame and says "EXPOSED PART";
//   - a thick line and "LIVE" is what a source still reaches under the plan, a
//     dashed line and "cut off" what none does.
//
// The picture holds the dead side, the ways from the points to the nearest
// source, and the controls that could start something on the dead side, with
// their feeds. It does not hold the rest of the yard.
//
// The same drawings and plan give the same bytes. A picture says what the
// drawings say; only valid readings prove anything dead.
package picture
