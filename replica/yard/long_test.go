//go:build long

package yard

// With the tag long, every guard is broken in turn.
func init() { *mutantsRun = "all" }
