package yard

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"slices"

	"yardhasp/ledger"
)

// The journal's bytes: frames one after the other, then zeros.
//
// frame  = length (4 bytes) || crc (4 bytes) || payload
// crc    = CRC-32C of length || payload
// first  = header: magic (8 bytes) || fields
// others = raft index (8 bytes) || sealed record
//
// Numbers are big-endian. The frames are not chained. The records are: each
// envelope names the hash of the envelope before it.
const (
	magic     = "yhjrnl1\n"
	frameHead = 8
	// maxFrame bounds a payload, in bytes: a signed record with its envelope and seal.
	maxFrame = MaxSigned + 64<<10
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func frameCRC(length, payload []byte) uint32 {
	return crc32.Update(crc32.Checksum(length, castagnoli), castagnoli, payload)
}

func appendFrame(b, payload []byte) []byte {
	var n [4]byte
	binary.BigEndian.PutUint32(n[:], uint32(len(payload)))
	b = append(b, n[:]...)
	b = binary.BigEndian.AppendUint32(b, frameCRC(n[:], payload))
	return append(b, payload...)
}

// readFrame takes one frame from the front of b. ok is false when no whole frame is
// there.
func readFrame(b []byte) (payload, rest []byte, ok bool) {
	if len(b) < frameHead {
		return nil, b, false
	}
	n := binary.BigEndian.Uint32(b)
	if n == 0 || n > maxFrame || uint64(len(b)-frameHead) < uint64(n) {
		return nil, b, false
	}
	payload = b[frameHead : frameHead+int(n)]
	if binary.BigEndian.Uint32(b[4:]) != frameCRC(b[:4], payload) {
		return nil, b, false
	}
	return payload, b[frameHead+int(n):], true
}

func recordPayload(r *Record) []byte {
	return append(binary.BigEndian.AppendUint64(nil, r.RaftIndex), r.Sealed...)
}

func headerPayload(h *Header) []byte {
	b := []byte(magic)
	for _, f := range [][]byte{h.Ledger, []byte(h.Yard), []byte(h.Incarnation)} {
		b = append(binary.BigEndian.AppendUint16(b, uint16(len(f))), f...)
	}
	b = binary.BigEndian.AppendUint64(b, h.Epoch)
	b = binary.BigEndian.AppendUint64(b, h.Compacted)
	b = binary.BigEndian.AppendUint64(b, h.RaftIndex)
	return append(b, h.Hash[:]...)
}

var errHeader = errors.New("its header can't be read")

func readHeader(b []byte) (Header, error) {
	var h Header
	if !bytes.HasPrefix(b, []byte(magic)) {
		return h, errHeader
	}
	b = b[len(magic):]
	var fields [3][]byte
	for i := range fields {
		if len(b) < 2 || len(b)-2 < int(binary.BigEndian.Uint16(b)) {
			return h, errHeader
		}
		n := int(binary.BigEndian.Uint16(b))
		fields[i], b = slices.Clone(b[2:2+n]), b[2+n:]
	}
	if len(b) != 3*8+32 {
		return h, errHeader
	}
	h.Ledger, h.Yard, h.Incarnation = fields[0], string(fields[1]), string(fields[2])
	h.Epoch, h.Compacted, h.RaftIndex = binary.BigEndian.Uint64(b), binary.BigEndian.Uint64(b[8:]), binary.BigEndian.Uint64(b[16:])
	copy(h.Hash[:], b[24:])
	return h, nil
}

// check says why these fields can't be the header of a journal.
func (h *Header) check() error {
	switch {
	case len(h.Ledger) != 32:
		return fmt.Errorf("the ledger's id has %d bytes, not 32", len(h.Ledger))
	case !ledger.Name(h.Yard):
		return fmt.Errorf("%q is no yard's name", h.Yard)
	case h.Epoch == 0:
		return errors.New("epochs count from 1")
	case h.Incarnation == "" || len(h.Incarnation) > 100:
		return errors.New("the fingerprint of the replica's key is missing")
	}
	return nil
}

// is says how this journal's header differs from the header that its owner expects. It
// does not compare the fields that are unset in want.
func (h *Header) is(want *Header) error {
	switch {
	case len(want.Ledger) > 0 && !bytes.Equal(h.Ledger, want.Ledger):
		return fmt.Errorf("it belongs to ledger %x, not %x", h.Ledger, want.Ledger)
	case want.Yard != "" && h.Yard != want.Yard:
		return fmt.Errorf("it belongs to yard %s, not %s", h.Yard, want.Yard)
	case want.Incarnation != "" && h.Incarnation != want.Incarnation:
		return fmt.Errorf("it was begun with the key %s, this replica has %s", h.Incarnation, want.Incarnation)
	case want.Epoch != 0 && h.Epoch != want.Epoch:
		return fmt.Errorf("it is of epoch %d, not %d", h.Epoch, want.Epoch)
	}
	return nil
}

// scan reads a journal's bytes: the header, and every whole record that continues the
// chain. end is where the last of them ends. stop says why the reading ended before
// the zeros.
func scan(b []byte) (h Header, records []Record, end int64, stop string, err error) {
	payload, rest, ok := readFrame(b)
	if !ok {
		return h, nil, 0, "", errHeader
	}
	if h, err = readHeader(payload); err != nil {
		return h, nil, 0, "", err
	}
	if err = h.check(); err != nil {
		return h, nil, 0, "", err
	}
	seq, hash := h.Compacted, h.Hash
	for {
		end = int64(len(b) - len(rest))
		payload, rest, ok = readFrame(rest)
		if !ok {
			stop = fmt.Sprintf("record %d is not there whole", seq+1)
			break
		}
		if len(payload) < 8 {
			stop = fmt.Sprintf("record %d can't be read", seq+1)
			break
		}
		r, rerr := ReadRecord(slices.Clone(payload[8:]), binary.BigEndian.Uint64(payload))
		if rerr != nil {
			stop = fmt.Sprintf("record %d: %v", seq+1, rerr)
			break
		}
		if why := h.follows(&r, seq, hash); why != "" {
			stop = fmt.Sprintf("record %d: %s", seq+1, why)
			break
		}
		seq, hash = seq+1, ledger.EnvelopeHash(r.Sealed)
		records = append(records, r)
	}
	return h, records, end, stop, nil
}
