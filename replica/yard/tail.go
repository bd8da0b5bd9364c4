package yard

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
	"os"
)

// The tail mark says how far the journal was acknowledged (decisions.md 7). Its
// file has two slots, each in its own page, written in turn. A write that is cut
// short spoils only the slot being written, and nothing rests on that one yet.
//
// slot = magic (8 bytes) || seq (8) || hash (32) || crc (4), CRC-32C of the rest
const (
	tailMagic = "yhtail1\n"
	slotBytes = 52
	slotStep  = 4096
)

type tailMark struct {
	Seq  uint64
	Hash [32]byte
}

func (m tailMark) slot() []byte {
	b := []byte(tailMagic)
	b = binary.BigEndian.AppendUint64(b, m.Seq)
	b = append(b, m.Hash[:]...)
	return binary.BigEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

func readSlot(b []byte) (tailMark, bool) {
	var m tailMark
	if len(b) != slotBytes || string(b[:8]) != tailMagic {
		return m, false
	}
	if binary.BigEndian.Uint32(b[48:]) != crc32.Checksum(b[:48], castagnoli) {
		return m, false
	}
	m.Seq = binary.BigEndian.Uint64(b[8:])
	copy(m.Hash[:], b[16:])
	return m, true
}

// readTail returns the newest mark and its slot.
func readTail(f *os.File) (m tailMark, slot int, err error) {
	found := false
	for i := range 2 {
		b := make([]byte, slotBytes)
		n, err := f.ReadAt(b, int64(i)*slotStep)
		if err != nil && err != io.EOF {
			return m, 0, fmt.Errorf("the tail mark can't be read: %w", err)
		}
		if s, ok := readSlot(b[:n]); ok && (!found || s.Seq > m.Seq) {
			m, slot, found = s, i, true
		}
	}
	if !found {
		return m, 0, &ShortenedError{Path: f.Name(), Why: "its tail mark, which says how far it was acknowledged, can't be read"}
	}
	return m, slot, nil
}
