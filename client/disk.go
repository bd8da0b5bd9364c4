package client

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
)

// writeWhole replaces a file at once: a reader or a crash finds the old bytes or
// the new ones, and the new ones are on disk when it returns.
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

// locked runs work while no other process or goroutine does so for this path.
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
