package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/fb"
	"github.com/dgraph-io/badger/v4/pb"
	"google.golang.org/protobuf/proto"
)

// checkTables checks the ends of badger's table files before badger opens them. A
// table that was cut short kills the process inside badger 4.9.6. badger deletes
// tables when their list (MANIFEST) is missing. A table ends in its index, the index's
// length, a checksum of the index, and the checksum's length (badger's
// table/builder.go). With whole, every block is read too: for a key in a damaged block
// badger answers that there is no such key.
func checkTables(opts *badger.Options, whole bool) error {
	tables, err := listedTables(opts)
	for _, path := range tables {
		why, ferr := tableFault(path, whole)
		switch {
		case why == "" && ferr == nil:
			continue
		case busy(opts.Dir):
			return nil // a running replica writes here: badger's lock will say so
		case ferr != nil:
			return fmt.Errorf("database %s: %w", opts.Dir, ferr)
		}
		return &DamagedError{What: "table " + path, Why: why}
	}
	return err
}

// listedTables lists the files of the tables that MANIFEST names. A table that was
// being written when the machine died is not among them, and badger deletes it. If the
// list can't be read, badger will say so.
func listedTables(opts *badger.Options) (paths []string, err error) {
	f, err := os.Open(filepath.Join(opts.Dir, badger.ManifestFilename))
	if errors.Is(err, fs.ErrNotExist) {
		left, err := fs.Glob(os.DirFS(opts.Dir), "[0-9]*.sst")
		if err == nil && len(left) > 0 && !busy(opts.Dir) {
			err = &DamagedError{What: "database " + opts.Dir, Why: "the list of its tables, " + badger.ManifestFilename + ", is missing"}
		}
		return nil, err
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m, _, err := badger.ReplayManifestFile(f, opts.ExternalMagicVersion, *opts)
	if err != nil {
		return nil, nil
	}
	for _, id := range slices.Sorted(maps.Keys(m.Tables)) {
		paths = append(paths, filepath.Join(opts.Dir, fmt.Sprintf("%06d.sst", id)))
	}
	return paths, nil
}

// table is one of badger's table files, read from its end.
type table struct {
	f     *os.File
	end   int64
	index []byte
}

// tableFault says what is wrong with a table, "" when nothing is. It always checks the
// end. With whole it checks each block too.
func tableFault(path string, whole bool) (why string, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return "it is missing", nil
	}
	if err != nil {
		return "", err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return "", err
	}
	t := &table{f: f, end: st.Size()}
	ok, err := t.readIndex()
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF):
		return "it is cut short, or its end was changed", nil
	case err != nil:
		return "", err
	case !ok:
		return "its index does not match its checksum", nil
	case !whole:
		return "", nil
	}
	return t.blocks()
}

// back reads the n bytes before those that were read so far.
func (t *table) back(n int64) ([]byte, error) {
	if n > t.end {
		return nil, io.ErrUnexpectedEOF
	}
	t.end -= n
	b := make([]byte, n)
	_, err := t.f.ReadAt(b, t.end)
	return b, err
}

// last reads a piece that its length follows.
func (t *table) last() ([]byte, error) {
	n, err := t.back(4)
	if err != nil {
		return nil, err
	}
	return t.back(int64(binary.BigEndian.Uint32(n)))
}

func (t *table) readIndex() (ok bool, err error) {
	sum, err := t.last()
	if err != nil {
		return false, err
	}
	if t.index, err = t.last(); err != nil {
		return false, err
	}
	return matches(t.index, sum), nil
}

// matches checks data against badger's checksum, a serialised pb.Checksum.
func matches(data, sum []byte) bool {
	var c pb.Checksum
	return proto.Unmarshal(sum, &c) == nil && c.GetAlgo() == pb.Checksum_CRC32C && uint64(crc32.Checksum(data, castagnoli)) == c.GetSum()
}

// blocks checks each block. A block ends in its checksum and the checksum's length.
func (t *table) blocks() (why string, err error) {
	index := fb.GetRootAsTableIndex(t.index, 0)
	for i := range index.OffsetsLength() {
		var at fb.BlockOffset
		if !index.Offsets(&at, i) || int64(at.Offset())+int64(at.Len()) > t.end || at.Len() < 4 {
			return fmt.Sprintf("block %d is not where its index says", i), nil
		}
		b := make([]byte, at.Len())
		if _, err := t.f.ReadAt(b, int64(at.Offset())); err != nil {
			return "", err
		}
		body := len(b) - 4
		n := int64(binary.BigEndian.Uint32(b[body:]))
		if n > int64(body) || !matches(b[:body-int(n)], b[body-int(n):body]) {
			return fmt.Sprintf("block %d does not match its checksum", i), nil
		}
	}
	return "", nil
}

// busy reports whether another process, or another store of this process, holds a
// database's directory. It tries the lock that badger takes on the directory.
func busy(dir string) bool {
	d, err := os.Open(dir)
	if err != nil {
		return false
	}
	defer d.Close()
	return errors.Is(syscall.Flock(int(d.Fd()), syscall.LOCK_EX|syscall.LOCK_NB), syscall.EWOULDBLOCK)
}
