//go:build long

package replica_test

// With the tag long, 50 processes are killed.
func init() { usualKills = 50 }
