package quorum

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"io"
	"testing"

	"github.com/hashicorp/raft"
	"golang.org/x/mod/sumdb/tlog"

	"yardhasp/ledger"
)

// TestRootsBounded: the last sizes and the round ones are kept, the rest is let go.
func TestRootsBounded(t *testing.T) {
	var r Roots
	root := func(size uint64) [32]byte { return sha256.Sum256(binary.BigEndian.AppendUint64(nil, size)) }
	const n = 5 * keepRoots
	for i := uint64(1); i <= n; i++ {
		r.Keep(i, root(i))
	}
	for _, size := range []uint64{n, n - 1, n - keepRoots + 10, roundSize, 2 * roundSize} {
		if got, ok := r.At(size); !ok || got != root(size) {
			t.Errorf("size %d: %x %v", size, got, ok)
		}
	}
	for _, size := range []uint64{0, 1, roundSize - 1, n - keepRoots - 10, n + 1} {
		if _, ok := r.At(size); ok {
			t.Errorf("size %d is remembered", size)
		}
	}
	for i := uint64(1); i <= 2*keepRoots; i++ {
		r.Keep(i*roundSize, root(i))
	}
	if len(r.by) > 2*keepRoots || len(r.recent)+len(r.round) != len(r.by) {
		t.Errorf("%d roots are remembered, in lists of %d and %d", len(r.by), len(r.recent), len(r.round))
	}
}

// TestRootsOfAppliedEntries: what the state goes through is remembered, as
// golang.org/x/mod/sumdb/tlog works it out over the same leaves (RFC 6962), within
// a batch at round sizes, and after a snapshot.
func TestRootsOfAppliedEntries(t *testing.T) {
	f, _ := open(t)
	var leaves [][]byte
	index := uint64(0)
	apply := func(n int) {
		var b [][]byte
		for range n {
			b = append(b, ledger.DirectEntry(binary.BigEndian.AppendUint64([]byte("no record "), uint64(len(leaves)+len(b)))))
		}
		index++
		f.Apply(&raft.Log{Index: index, Type: raft.LogCommand, Data: batch(t, nil, b...)})
		leaves = append(leaves, b...)
	}
	apply(3)
	apply(1)
	apply(2 * roundSize)
	hashes := map[int64]tlog.Hash{}
	read := tlog.HashReaderFunc(func(at []int64) (out []tlog.Hash, _ error) {
		for _, i := range at {
			out = append(out, hashes[i])
		}
		return out, nil
	})
	for i, l := range leaves {
		hs, err := tlog.StoredHashes(int64(i), l, read)
		if err != nil {
			t.Fatal(err)
		}
		for k, h := range hs {
			hashes[tlog.StoredHashIndex(0, int64(i))+int64(k)] = h
		}
	}
	want := func(f *fsm, size uint64) {
		t.Helper()
		w, err := tlog.TreeHash(int64(size), read)
		if got, ok := f.roots.At(size); err != nil || !ok || got != w {
			t.Errorf("root of %d: %x %v, want %x %v", size, got, ok, w, err)
		}
	}
	for _, size := range []uint64{3, 4, roundSize, 2 * roundSize, 2*roundSize + 4} {
		want(f, size)
	}
	s, err := f.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	sink := &memorySink{}
	if err := s.Persist(sink); err != nil {
		t.Fatal(err)
	}
	restored, _ := open(t)
	if err := restored.Restore(io.NopCloser(bytes.NewReader(sink.Bytes()))); err != nil {
		t.Fatal(err)
	}
	want(restored, 2*roundSize+4)

	// A replica that went through another root does not let itself be overwritten.
	other, _ := open(t)
	other.Apply(&raft.Log{Index: 1, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("another")))})
	other.roots.Keep(2*roundSize+4, sha256.Sum256([]byte("another history")))
	if err := other.Restore(io.NopCloser(bytes.NewReader(sink.Bytes()))); err == nil || other.state.Size() != 1 {
		t.Errorf("a snapshot of another history: %v, %d entries", err, other.state.Size())
	}
}
