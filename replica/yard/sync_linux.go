package yard

import (
	"os"
	"syscall"
)

// datasync makes what was written to a file durable. The file has its length
// already, so that the data alone is enough.
func datasync(f *os.File) error { return syscall.Fdatasync(int(f.Fd())) }
