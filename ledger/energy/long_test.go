//go:build long

package energy

// With the tag long, every guard is broken in turn.
func init() { *mutants = "all" }
