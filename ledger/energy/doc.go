// Package energy computes, from the yards' energy drawings, what isolates a
// work zone, what stays live, what is stored and what must be tested.
//
// The current drawings of all yards form one graph over all media: a turning
// machine feeds its motor, grain turns a leg, so a link passes energy both ways
// unless the drawing states a physical reason why not. Only a lockable
// energy-isolating device stops energy (device.go); everything else in a link
// is taken as passing, whatever its position.
//
// A zone is dead when no source reaches any of its exposed parts. With single
// isolation one open and locked point must stand on every path, with double
// isolation two, or one blank. Every source counts as connected, interlocked ones
// too. A store (capacitor, raised load, air vessel) is never counted as a source:
// it is drained, not locked, and Stores lists it.
//
// Examine answers this for a given set of points. Plan finds the smallest set
// and, among the smallest, the one nearest the work. Alternatives ranks further
// minimal sets. Now says what is live, open but not locked, or locked with the
// points as they stand.
//
// "Dead" here means cut off on these drawings. Only valid readings prove it.
//
// # Exactness
//
// A plan is a minimum cut, computed in whole numbers (Dinic), and among the
// minimum cuts the one nearest the work. Double isolation is a cut in two layers.
//
// A blank counts as two devices and costs one lock, which makes the smallest set
// with blanks a hard problem. It is bounded below by a convex price and settled by
// branch and bound. Work is counted in steps and not in time, so that every replica
// gives up at the same place. Plan.Fewest says whether the set is known to be the
// smallest; where it is not, the set isolates all the same.
//
// Figures of stored energy use + - * / with explicit rounding, and logarithms of
// our own (storedmath.go): Go's own have assembly on some processors, and all
// replicas must get the same bits.
//
// # Pure and total
//
// The package is pure and total: no input makes it panic, and no answer depends
// on the order of nodes and links in a drawing or of a Go map. A Graph is never
// changed after Build, so it may be read from many goroutines.
//
// Ids: node "yard/name", link "yard/name", zone "yard/name", isolation point
// "yard/panel/device", where the yard is the one whose drawing holds it.
package energy
