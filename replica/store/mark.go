package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"path/filepath"
)

// The mark file has two slots, a page apart, written in turn: a write that is cut short
// spoils only one of them. A slot is, big-endian:
//
// "yhmark1\n" | writes uint64 | last index uint64 | last term uint64 | CRC-32C uint32
const (
	markMagic    = "yhmark1\n"
	markSlotLen  = 8 + 3*8 + 4
	markSlotStep = 4096
	// markSyncEvery is after how many writes the mark is synced.
	markSyncEvery = 256
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// A point says how far a raft log was written.
type point struct{ writes, last, term uint64 }

// A markFile remembers a point in a file outside badger's.
type markFile struct {
	file     *os.File
	slot     int64
	unsynced int
}

func (p point) slot() []byte {
	b := make([]byte, 0, markSlotLen)
	b = append(b, markMagic...)
	b = binary.BigEndian.AppendUint64(b, p.writes)
	b = binary.BigEndian.AppendUint64(b, p.last)
	b = binary.BigEndian.AppendUint64(b, p.term)
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

func readSlot(b []byte) (p point, ok bool) {
	if len(b) != markSlotLen || string(b[:8]) != markMagic {
		return p, false
	}
	body := b[:markSlotLen-4]
	if crc32.Checksum(body, castagnoli) != binary.BigEndian.Uint32(b[markSlotLen-4:]) {
		return p, false
	}
	return point{
		writes: binary.BigEndian.Uint64(body[8:]),
		last:   binary.BigEndian.Uint64(body[16:]),
		term:   binary.BigEndian.Uint64(body[24:]),
	}, true
}

// createMark makes an empty mark. It is durable when createMark returns. The mark is
// made before the database, so a database without a mark has lost it.
func createMark(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil // another process is opening the same directory; badger's lock decides which one may
	}
	if err != nil {
		return err
	}
	blank := make([]byte, 2*markSlotStep)
	copy(blank, point{}.slot())
	_, err = f.Write(blank)
	if err := errors.Join(err, f.Sync(), f.Close(), syncDir(filepath.Dir(path))); err != nil {
		return fmt.Errorf("make %s: %w", path, err)
	}
	return nil
}

// openMark opens a mark and reads its newer slot.
func openMark(path string) (*markFile, point, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, point{}, err
	}
	var (
		best  point
		found bool
		m     = &markFile{file: f}
	)
	for slot := range int64(2) {
		b := make([]byte, markSlotLen)
		if _, err := f.ReadAt(b, slot*markSlotStep); err != nil {
			continue
		}
		if p, ok := readSlot(b); ok && (!found || p.writes > best.writes) {
			best, found, m.slot = p, true, slot
		}
	}
	if !found {
		return nil, point{}, errors.Join(&DamagedError{What: path, Why: "neither of its two slots is whole"}, f.Close())
	}
	return m, best, nil
}

// note writes a point over the earlier slot. Every markSyncEvery writes it syncs.
func (m *markFile) note(p point) error {
	slot := 1 - m.slot
	if _, err := m.file.WriteAt(p.slot(), slot*markSlotStep); err != nil {
		return fmt.Errorf("write mark: %w", err)
	}
	m.slot = slot
	if m.unsynced++; m.unsynced >= markSyncEvery {
		return m.sync()
	}
	return nil
}

func (m *markFile) sync() error {
	m.unsynced = 0
	if err := fdatasync(m.file); err != nil {
		return fmt.Errorf("sync mark: %w", err)
	}
	return nil
}

func (m *markFile) close() error { return errors.Join(m.sync(), m.file.Close()) }
