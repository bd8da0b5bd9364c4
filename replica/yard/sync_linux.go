package yard

import (
	"os"
	"syscall"
)

// datasync makes what was written to a file durable. The file's length does not
// change, so it is enough to sync the data.
func datasync(f *os.File) error { return syscall.Fdatasync(int(f.Fd())) }
