package client

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
)

// writeWhole replaces a whole file. A reader, even after a crash, finds either the
// previous bytes or the new ones. The new bytes are on disk when it returns.
func writeWhole(path string, data []byte) error {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+"-*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncDir(dir)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// locked runs work. No other process or goroutine runs work for this path meanwhile.
func locked(path string, work func() error) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	l := flock.New(path+".lock", flock.SetPermissions(0o600))
	if err := l.Lock(); err != nil {
		return fmt.Errorf("lock %s: %w", path, err)
	}
	return errors.Join(work(), l.Close())
}
