package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
)

// A walFile is the write-ahead file of the memtable that badger writes to now. badger
// writes the file through a memory map. On Linux, fdatasync on another descriptor of
// the same file writes those pages too.
type walFile struct {
	dir    string
	number int
	file   *os.File
}

func walPath(dir string, number int) string {
	return filepath.Join(dir, fmt.Sprintf("%05d.mem", number))
}

// walNumbers lists the write-ahead files in dir, oldest first.
func walNumbers(dir string) ([]int, error) {
	files, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var numbers []int
	for _, f := range files {
		digits, ok := strings.CutSuffix(f.Name(), ".mem")
		if n, err := strconv.Atoi(digits); ok && err == nil {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	return numbers, nil
}

// openWAL finds the newest write-ahead file of an open database.
func openWAL(dir string) (*walFile, error) {
	numbers, err := walNumbers(dir)
	if err != nil {
		return nil, err
	}
	if len(numbers) == 0 {
		return nil, fmt.Errorf("database %s has no write-ahead file: this badger version is not the one this program was written for", dir)
	}
	w := &walFile{dir: dir, number: numbers[len(numbers)-1]}
	if w.file, err = os.Open(walPath(dir, w.number)); err != nil {
		return nil, err
	}
	return w, w.sync()
}

// sync makes everything durable that was committed before the call. When the memtable
// is full, badger begins a new file with the next number. Then both files are synced.
func (w *walFile) sync() error {
	for {
		if err := fdatasync(w.file); err != nil {
			return fmt.Errorf("sync %s: %w", w.file.Name(), err)
		}
		next, err := os.Open(walPath(w.dir, w.number+1))
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		w.file.Close()
		w.file, w.number = next, w.number+1
		if err := syncDir(w.dir); err != nil {
			return err
		}
	}
}

func (w *walFile) close() error { return w.file.Close() }

// syncAllWAL syncs every write-ahead file, also those that wait to be flushed. If a
// file vanishes meanwhile, it was flushed to a table, and badger syncs the table.
func syncAllWAL(dir string) error {
	numbers, err := walNumbers(dir)
	if err != nil {
		return err
	}
	for _, n := range numbers {
		f, err := os.Open(walPath(dir, n))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		if err := errors.Join(fdatasync(f), f.Close()); err != nil {
			return fmt.Errorf("sync %s: %w", f.Name(), err)
		}
	}
	return syncDir(dir)
}

func fdatasync(f *os.File) error {
	for {
		err := syscall.Fdatasync(int(f.Fd()))
		if !errors.Is(err, syscall.EINTR) {
			return err
		}
	}
}

// syncDir makes new and renamed files of a directory durable.
func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("sync directory %s: %w", dir, err)
	}
	return nil
}
