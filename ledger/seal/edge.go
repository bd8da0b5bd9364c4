package seal

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"math/bits"
	"slices"
)

// LeafHash is the RFC 6962 hash of a leaf: SHA-256 over 0x00 and the leaf.
func LeafHash(leaf []byte) [32]byte {
	h := sha256.New()
	h.Write([]byte{0})
	h.Write(leaf)
	return [32]byte(h.Sum(nil))
}

// nodeHash is the RFC 6962 hash of an inner node: SHA-256 over 0x01 and both children.
func nodeHash(left, right [32]byte) [32]byte {
	var b [65]byte
	b[0] = 1
	copy(b[1:], left[:])
	copy(b[33:], right[:])
	return sha256.Sum256(b[:])
}

// An Edge is the right edge of an RFC 6962 tree, also called a compact range. It holds
// the roots of the complete subtrees that its leaves split into, largest first. The zero
// Edge is the empty tree. A copy shares memory with the original: use Clone before
// appending to one of them.
type Edge struct {
	// Size is the number of leaves.
	Size uint64
	// Hashes holds one root for each bit set in Size, the highest bit first.
	Hashes [][32]byte
}

// Append adds a leaf.
func (e *Edge) Append(leaf []byte) { e.AppendHash(LeafHash(leaf)) }

// AppendHash adds a leaf by its LeafHash. It does not change an edge that fails Check.
func (e *Edge) AppendHash(h [32]byte) {
	if e.Check() != nil {
		return
	}
	for s := e.Size; s&1 == 1; s >>= 1 {
		last := len(e.Hashes) - 1
		h = nodeHash(e.Hashes[last], h)
		e.Hashes = e.Hashes[:last]
	}
	e.Hashes = append(e.Hashes, h)
	e.Size++
}

// Root is the RFC 6962 root of the tree, or SHA-256 of nothing if it is empty. The root
// of an edge that fails Check is all zeroes, which is the root of no tree.
func (e Edge) Root() [32]byte {
	if e.Check() != nil {
		return [32]byte{}
	}
	if e.Size == 0 {
		return sha256.Sum256(nil)
	}
	root := e.Hashes[len(e.Hashes)-1]
	for i := len(e.Hashes) - 2; i >= 0; i-- {
		root = nodeHash(e.Hashes[i], root)
	}
	return root
}

// Clone returns a copy that shares no memory.
func (e Edge) Clone() Edge { return Edge{Size: e.Size, Hashes: slices.Clone(e.Hashes)} }

// Check returns an error if the number of hashes does not fit the size.
func (e Edge) Check() error {
	if want := bits.OnesCount64(e.Size); len(e.Hashes) != want {
		return fmt.Errorf("tree edge of %d leaves has %d hashes, want %d: take it from another snapshot", e.Size, len(e.Hashes), want)
	}
	return nil
}

// edgeJSON is the written form. Its field order is part of the format.
type edgeJSON struct {
	Size   uint64 `json:"size"`
	Hashes string `json:"hashes"`
}

// MarshalJSON gives the form in the package comment.
func (e Edge) MarshalJSON() ([]byte, error) {
	if err := e.Check(); err != nil {
		return nil, err
	}
	raw := make([]byte, 0, 32*len(e.Hashes))
	for _, h := range e.Hashes {
		raw = append(raw, h[:]...)
	}
	return json.Marshal(edgeJSON{Size: e.Size, Hashes: base64.StdEncoding.EncodeToString(raw)})
}

// UnmarshalJSON reads exactly what MarshalJSON writes, except that white space between
// tokens is allowed. Other orders or spellings and repeated or unknown fields are
// errors.
func (e *Edge) UnmarshalJSON(data []byte) error {
	var w edgeJSON
	if err := json.Unmarshal(data, &w); err != nil {
		return fmt.Errorf("tree edge: %w", err)
	}
	raw, err := base64.StdEncoding.Strict().DecodeString(w.Hashes)
	if err != nil {
		return fmt.Errorf("tree edge: hashes: %w", err)
	}
	if len(raw)%32 != 0 {
		return fmt.Errorf("tree edge: hashes are %d bytes, not a multiple of 32", len(raw))
	}
	read := Edge{Size: w.Size}
	for hash := range slices.Chunk(raw, 32) {
		read.Hashes = append(read.Hashes, [32]byte(hash))
	}
	canonical, err := read.MarshalJSON()
	if err != nil {
		return err
	}
	var compact bytes.Buffer
	if err := json.Compact(&compact, data); err != nil {
		return fmt.Errorf("tree edge: %w", err)
	}
	if !bytes.Equal(compact.Bytes(), canonical) {
		return fmt.Errorf("tree edge: want exactly the fields size and hashes, in this order and once each")
	}
	*e = read
	return nil
}
