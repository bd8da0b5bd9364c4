package store

import (
	"encoding/binary"
	"hash/crc32"
	"time"

	"github.com/hashicorp/raft"
)

// sealValue appends a CRC-32C over key and value. It shows when a value was changed or
// stands under another key.
func sealValue(key, value []byte) []byte {
	sum := crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, value)
	return binary.BigEndian.AppendUint32(value, sum)
}

// openValue returns the value without its checksum, false if the checksum is wrong.
func openValue(key, sealed []byte) (value []byte, ok bool) {
	if len(sealed) < 4 {
		return nil, false
	}
	value = sealed[:len(sealed)-4]
	sum := crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, value)
	return value, sum == binary.BigEndian.Uint32(sealed[len(value):])
}

// logFormat is the first byte of each stored raft log entry.
const logFormat = 1

// logFixed is the length of a stored raft log entry without data and extensions.
const logFixed = 1 + 8 + 8 + 1 + 1 + 8 + 4 + 4

// encodeLog writes a raft log entry as, big-endian:
//
//	format byte | index uint64 | term uint64 | type byte | 1 if a time follows |
//	append time int64 (ns since 1970) | len uint32 | data | len uint32 | extensions
func encodeLog(b []byte, l *raft.Log) []byte {
	b = append(b, logFormat)
	b = binary.BigEndian.AppendUint64(b, l.Index)
	b = binary.BigEndian.AppendUint64(b, l.Term)
	b = append(b, byte(l.Type))
	if l.AppendedAt.IsZero() {
		b = append(b, 0)
		b = binary.BigEndian.AppendUint64(b, 0)
	} else {
		b = append(b, 1)
		b = binary.BigEndian.AppendUint64(b, uint64(l.AppendedAt.UnixNano()))
	}
	b = binary.BigEndian.AppendUint32(b, uint32(len(l.Data)))
	b = append(b, l.Data...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(l.Extensions)))
	return append(b, l.Extensions...)
}

// decodeLog reads what encodeLog wrote, and copies the data. It returns false for
// anything else.
func decodeLog(b []byte, l *raft.Log) bool {
	if len(b) < logFixed || b[0] != logFormat || b[18] > 1 {
		return false
	}
	read := raft.Log{
		Index: binary.BigEndian.Uint64(b[1:]),
		Term:  binary.BigEndian.Uint64(b[9:]),
		Type:  raft.LogType(b[17]),
	}
	if at := binary.BigEndian.Uint64(b[19:]); b[18] == 1 {
		read.AppendedAt = time.Unix(0, int64(at))
	} else if at != 0 {
		return false
	}
	rest := b[27:]
	var ok bool
	if read.Data, rest, ok = cutBytes(rest); !ok {
		return false
	}
	if read.Extensions, rest, ok = cutBytes(rest); !ok || len(rest) != 0 {
		return false
	}
	*l = read
	return true
}

// cutBytes reads a length and that many bytes from the front of b. It copies the
// bytes; for length 0 the value is nil.
func cutBytes(b []byte) (value, rest []byte, ok bool) {
	if len(b) < 4 {
		return nil, nil, false
	}
	n := binary.BigEndian.Uint32(b)
	b = b[4:]
	if uint64(n) > uint64(len(b)) {
		return nil, nil, false
	}
	return append([]byte(nil), b[:n]...), b[n:], true
}

// A head is the state of a raft log. Each transaction writes it.
type head struct {
	first, last uint64 // both 0: no entries
	term        uint64 // of the last entry
	commit      uint64 // never above last
	writes      uint64 // transactions so far
}

func (h head) encode() []byte {
	var b []byte
	for _, v := range []uint64{h.first, h.last, h.term, h.commit, h.writes} {
		b = binary.BigEndian.AppendUint64(b, v)
	}
	return b
}

func decodeHead(b []byte) (h head, ok bool) {
	if len(b) != 5*8 {
		return h, false
	}
	for i, v := range []*uint64{&h.first, &h.last, &h.term, &h.commit, &h.writes} {
		*v = binary.BigEndian.Uint64(b[8*i:])
	}
	return h, h.first <= h.last && (h.first == 0) == (h.last == 0) && h.commit <= h.last
}

func (h head) point() point { return point{writes: h.writes, last: h.last, term: h.term} }
