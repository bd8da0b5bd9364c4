package keys

import (
	"crypto/ed25519"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// maxFile limits a key file, in bytes. An Ed25519 key takes about 500.
const maxFile = 64 << 10

// errWrongPassphrase is the error of x/crypto/ssh for a wrong passphrase.
var errWrongPassphrase = x509.IncorrectPasswordError

// Write puts the key into a new file that only its owner may read (0600). The key is on
// disk when it returns. An empty passphrase leaves it unprotected, as a replica's key
// must be. It refuses to replace a file, with an error that is fs.ErrExist: the key in
// that file may be the only one that can release a hold.
func Write(path string, key ed25519.PrivateKey, passphrase string) error {
	fail := func(err error) error { return fmt.Errorf("write key file %s: %w", path, err) }
	data, err := encode(key, passphrase)
	if err != nil {
		return fail(err)
	}
	dir := filepath.Dir(path)
	temp, err := os.CreateTemp(dir, ".key-*") // made with mode 0600
	if err != nil {
		return fail(err)
	}
	defer os.Remove(temp.Name())
	if err := fill(temp, data); err != nil {
		return fail(err)
	}
	// Unlike a rename, a link fails if somebody made the file meanwhile.
	if err := os.Link(temp.Name(), path); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return fail(errExists)
		}
		return fail(err)
	}
	if err := os.Remove(temp.Name()); err != nil {
		return fail(err)
	}
	if err := syncDir(dir); err != nil {
		return fail(err)
	}
	return nil
}

var errExists = fmt.Errorf("%w, and a key is never overwritten; choose another name or move the old key away", fs.ErrExist)

func fill(f *os.File, data []byte) error {
	_, err := f.Write(data)
	if err == nil {
		err = f.Chmod(0o600)
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Read takes the key from a file. It refuses a file that group or others may read: a key
// that others can copy does not prove who acted. It calls ask, which may be nil, only
// when a passphrase protects the key.
func Read(path string, ask func() (string, error)) (ed25519.PrivateKey, error) {
	fail := func(err error) error { return fmt.Errorf("read key file %s: %w", path, err) }
	before, err := os.Stat(path)
	if err != nil {
		return nil, fail(err)
	}
	// Opening a pipe would wait for ever.
	if !before.Mode().IsRegular() {
		return nil, fail(errors.New("it is not a plain file; give the path of the key itself"))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fail(err)
	}
	defer f.Close()
	// Check the open file, so that it cannot be swapped after the check.
	info, err := f.Stat()
	if err != nil {
		return nil, fail(err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return nil, fail(fmt.Errorf("others may use it (mode %04o); run \"chmod 600 %s\", and replace the key if somebody may have copied it", mode, path))
	}
	data, err := io.ReadAll(io.LimitReader(f, maxFile+1))
	if err != nil {
		return nil, fail(err)
	}
	if len(data) > maxFile {
		return nil, fail(fmt.Errorf("it is larger than %d bytes, so it is no key file", maxFile))
	}
	key, err := decode(data, ask)
	if err != nil {
		return nil, fail(err)
	}
	return key, nil
}
