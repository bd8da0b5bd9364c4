// Package picture draws a work zone, what feeds it and the plan that cuts it
// off, as SVG, or as text for Graphviz.
//
// Everything is shown twice, by shape or line and by a word. So a black and white copy
// on a dirty clipboard says the same:
//
//   - a source is a box with pointed ends, a bus a plain box, a machine a round
//     one, a store a double one, a control one with cut corners;
//   - a point of the plan is black with a shackle, and says "LOCK 1";
//   - what people touch in the zone has a heavy frame and says "EXPOSED PART";
//   - what a source still reaches under the plan has a thick line and "LIVE", and
//     what no source reaches has a dashed line and "cut off".
//
// The picture shows the dead side and the ways from the points to the nearest source. It
// also shows the controls that could start something on the dead side, with their feeds.
// It does not show the rest of the yard.
//
// The same drawings and plan give the same bytes. A picture says only what the drawings
// say. Only valid readings prove anything dead.
package picture
