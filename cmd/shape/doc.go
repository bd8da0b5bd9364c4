// Package shape holds every function of the module to a size that one reading takes
// in: at most 80 lines and 25 branches. A branch is an if, a for, a case of a switch or
// a select, an && or an ||; a function written inside another counts with it. Generated
// code is left out. Its tests are all there is:
//
//	go test ./cmd/shape -v
//
// The bounds are our own choice: no source.
package shape
