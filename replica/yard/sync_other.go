//go:build !linux

package yard

import "os"

// datasync makes what was written to a file durable.
func datasync(f *os.File) error { return f.Sync() }
