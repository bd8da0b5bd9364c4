package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// FreeBytes is how many bytes a process without privileges can still write to the disk
// that holds dir.
func FreeBytes(dir string) (uint64, error) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return 0, fmt.Errorf("free space of %s: %w", dir, err)
	}
	return st.Bavail * uint64(st.Bsize), nil
}

// A Level says how full a disk is.
type Level int

const (
	// LevelPlenty: nothing to do.
	LevelPlenty Level = iota
	// LevelLow: warn and take no large work. A follower gets ready to leave.
	LevelLow
	// LevelFull: stop raft and accept nothing more. At the end of the disk badger
	// would kill the process.
	LevelFull
)

func (l Level) String() string {
	switch l {
	case LevelPlenty:
		return "plenty"
	case LevelLow:
		return "low"
	case LevelFull:
		return "full"
	}
	return fmt.Sprintf("level %d", int(l))
}

// A DiskWatch tells when a data directory's disk runs out of space. It keeps a ballast
// file, which is deleted then: its space is needed to start again and to clear up. A
// DiskWatch has no clock. Its owner asks it now and then.
type DiskWatch struct {
	dir          string
	low, full    uint64
	ballastBytes int64
	free         func(dir string) (uint64, error)
}

// NewDiskWatch watches the disk of a data directory. Below low free bytes the level is
// LevelLow, below full it is LevelFull. full must be less than low.
func NewDiskWatch(dataDir string, low, full uint64, ballastBytes int64) (*DiskWatch, error) {
	if full >= low {
		return nil, fmt.Errorf("disk watch: the full threshold %d is not below the low one %d", full, low)
	}
	if ballastBytes < 0 {
		return nil, fmt.Errorf("disk watch: a ballast of %d bytes", ballastBytes)
	}
	return &DiskWatch{dir: dataDir, low: low, full: full, ballastBytes: ballastBytes, free: FreeBytes}, nil
}

// Measure makes the watch ask fn for the free bytes instead of the system.
func (w *DiskWatch) Measure(fn func(dir string) (uint64, error)) { w.free = fn }

// Level measures the disk now. The ballast does not count as free.
func (w *DiskWatch) Level() (level Level, free uint64, err error) {
	free, err = w.free(w.dir)
	switch {
	case err != nil:
		// If the disk can't be measured, nothing should be written to it.
		return LevelFull, 0, err
	case free < w.full:
		return LevelFull, free, nil
	case free < w.low:
		return LevelLow, free, nil
	}
	return LevelPlenty, free, nil
}

// Low reports whether the free space is below the low threshold, or unknown.
func (w *DiskWatch) Low() bool {
	level, _, _ := w.Level()
	return level != LevelPlenty
}

func (w *DiskWatch) ballastPath() string { return filepath.Join(w.dir, "ballast") }

// HasBallast reports whether the ballast file is there in its full size.
func (w *DiskWatch) HasBallast() (bool, error) {
	info, err := os.Stat(w.ballastPath())
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	return err == nil && info.Size() == w.ballastBytes, err
}

// FillBallast makes the ballast file if it is not there. Its blocks are really
// allocated. It does so only if the disk stays at LevelPlenty with it. It reports
// whether the ballast is there.
func (w *DiskWatch) FillBallast() (bool, error) {
	if has, err := w.HasBallast(); has || err != nil {
		return has, err
	}
	free, err := w.free(w.dir)
	if err != nil {
		return false, err
	}
	if free < w.low || free-w.low < uint64(w.ballastBytes) {
		return false, nil
	}
	f, err := os.OpenFile(w.ballastPath(), os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return false, fmt.Errorf("ballast: %w", err)
	}
	if err := errors.Join(fillZeroes(f, w.ballastBytes), f.Close()); err != nil {
		return false, fmt.Errorf("ballast: %w", errors.Join(err, w.DropBallast()))
	}
	return true, nil
}

// fillZeroes writes the blocks one by one, for file systems that can't reserve them.
func fillZeroes(f *os.File, size int64) error {
	if size == 0 {
		return nil
	}
	err := syscall.Fallocate(int(f.Fd()), 0, 0, size)
	if !errors.Is(err, syscall.ENOTSUP) {
		return err
	}
	zeroes := make([]byte, 64<<10)
	for size > 0 {
		n, err := f.Write(zeroes[:min(size, int64(len(zeroes)))])
		if err != nil {
			return err
		}
		size -= int64(n)
	}
	return f.Sync()
}

// DropBallast deletes the ballast. A missing ballast is no error.
func (w *DiskWatch) DropBallast() error {
	err := os.Remove(w.ballastPath())
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("drop ballast: %w", err)
	}
	return nil
}
