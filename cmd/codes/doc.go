// Package codes holds tests alone: that every code of the whole program has one row
// and words, that no code is written twice, and that whoever says one gives the
// arguments that its row names.
package codes
