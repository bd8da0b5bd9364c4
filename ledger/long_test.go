//go:build long

package ledger_test

// With the tag long, 200 random histories of each sort run.
func init() { manySeeds = 200 }
