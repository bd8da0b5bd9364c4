//go:build long

package faults_test

// With the tag long, a thousand scenarios run, and 60 of each special kind.
func init() { *count, *growing, *losing = 1000, 60, 60 }
