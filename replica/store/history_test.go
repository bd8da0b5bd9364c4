package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"yardhasp/ledger/seal"
	"yardhasp/replica/store"
)

func openHistory(t testing.TB, dir string) *store.History {
	t.Helper()
	h, err := store.OpenHistory(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := h.Close(); err != nil {
			t.Error(err)
		}
	})
	return h
}

func item(index uint64) store.Item {
	return store.Item{
		Index:   index,
		Entry:   fmt.Appendf(nil, "ledger entry %06d", index),
		Outcome: fmt.Appendf(nil, "outcome %06d", index),
		Ref:     fmt.Sprintf("ref-%d", index),
	}
}

func items(from, to uint64) []store.Item {
	var out []store.Item
	for i := from; i < to; i++ {
		out = append(out, item(i))
	}
	return out
}

func mustAppend(t testing.TB, h *store.History, batch []store.Item) {
	t.Helper()
	if err := h.Append(batch); err != nil {
		t.Fatal(err)
	}
}

// wantHistory checks every read of a history that holds item(0) to item(size-1).
func wantHistory(t *testing.T, h *store.History, size uint64) {
	t.Helper()
	if got := h.Size(); got != size {
		t.Fatalf("size %d, want %d", got, size)
	}
	next := uint64(0)
	err := h.Range(0, math.MaxUint64, func(it store.Item) error {
		want := item(next)
		if it.Index != next || !bytes.Equal(it.Entry, want.Entry) || !bytes.Equal(it.Outcome, want.Outcome) {
			return fmt.Errorf("range gives %d: %q, %q", it.Index, it.Entry, it.Outcome)
		}
		entry, err := h.Entry(next)
		if err != nil || !bytes.Equal(entry, want.Entry) {
			return fmt.Errorf("entry %d is %q: %w", next, entry, err)
		}
		outcome, err := h.Outcome(next)
		if err != nil || !bytes.Equal(outcome, want.Outcome) {
			return fmt.Errorf("outcome %d is %q: %w", next, outcome, err)
		}
		index, ok, err := h.ByRef(want.Ref)
		if err != nil || !ok || index != next {
			return fmt.Errorf("ref %s gives %d, %v: %w", want.Ref, index, ok, err)
		}
		next++
		return nil
	})
	if err != nil || next != size {
		t.Fatalf("range over %d of %d: %v", next, size, err)
	}
	if _, err := h.Entry(size); !errors.Is(err, store.ErrNotInHistory) {
		t.Errorf("entry %d, behind the last: %v", size, err)
	}
	if _, err := h.Outcome(size); !errors.Is(err, store.ErrNotInHistory) {
		t.Errorf("outcome %d, behind the last: %v", size, err)
	}
	if _, ok, err := h.ByRef(item(size).Ref); ok || err != nil {
		t.Errorf("ref of entry %d, behind the last: %v, %v", size, ok, err)
	}
}

func TestHistoryReopens(t *testing.T) {
	dir := t.TempDir()
	h := openHistory(t, dir)
	wantHistory(t, h, 0)
	mustAppend(t, h, items(0, 1))
	mustAppend(t, h, items(1, 1500)) // several transactions
	wantHistory(t, h, 1500)
	for range 2 {
		if err := h.Close(); err != nil {
			t.Fatal(err)
		}
		h = openHistory(t, dir)
		wantHistory(t, h, 1500)
	}
	mustAppend(t, h, items(1500, 1510))
	wantHistory(t, h, 1510)
	if err := h.Sync(); err != nil {
		t.Fatal(err)
	}
	wantHistory(t, openHistory(t, crashImage(t, dir)), 1510)
}

func TestHistoryAppendsOnce(t *testing.T) {
	h := openHistory(t, t.TempDir())
	mustAppend(t, h, items(0, 100))
	root, err := h.TreeHash(100)
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, h, items(0, 100)) // a replay after a restart
	mustAppend(t, h, items(90, 120))
	wantHistory(t, h, 120)
	if again, err := h.TreeHash(100); again != root || err != nil {
		t.Errorf("tree of 100 changed from %x to %x, %v", root, again, err)
	}

	var damaged *store.DamagedError
	other := item(50)
	other.Entry = []byte("something else")
	if err := h.Append([]store.Item{other}); !errors.As(err, &damaged) || damaged.What != "history entry 50" {
		t.Errorf("other bytes at 50: %v", err)
	}
	other = item(50)
	other.Outcome = []byte("something else")
	if err := h.Append([]store.Item{other}); !errors.As(err, &damaged) || damaged.What != "outcome of history entry 50" {
		t.Errorf("another outcome at 50: %v", err)
	}
	for name, batch := range map[string][]store.Item{
		"a gap":            items(121, 130),
		"a gap inside":     append(items(120, 122), item(123)),
		"twice in a batch": append(items(120, 122), item(121)),
	} {
		if err := h.Append(batch); err == nil {
			t.Errorf("%s was appended", name)
		}
	}
	if err := h.Append(nil); err != nil {
		t.Errorf("nothing: %v", err)
	}
	wantHistory(t, h, 120)
	// Leaf 2 needs no earlier tree hash, so that only the gap itself can stop it.
	if err := openHistory(t, t.TempDir()).Append(items(2, 3)); err == nil {
		t.Error("an empty history took entry 2")
	}
	h = openHistory(t, t.TempDir())
	mustAppend(t, h, items(0, 1))
	if err := h.Append(items(2, 3)); err == nil {
		t.Error("a history of one entry took entry 2")
	}
}

func TestHistoryOutcomesMayBeMissing(t *testing.T) {
	h := openHistory(t, t.TempDir())
	refilled := items(0, 10)
	for i := range refilled {
		refilled[i].Outcome = nil
	}
	mustAppend(t, h, refilled)
	if got, err := h.Outcome(3); got != nil || err != nil {
		t.Errorf("unknown outcome is %q, %v", got, err)
	}
	mustAppend(t, h, items(0, 10)) // now known
	wantHistory(t, h, 10)
	mustAppend(t, h, refilled) // and not forgotten again
	wantHistory(t, h, 10)
	empty := item(10)
	empty.Outcome = []byte{}
	mustAppend(t, h, []store.Item{empty})
	if got, err := h.Outcome(10); got == nil || len(got) != 0 || err != nil {
		t.Errorf("empty outcome is %q (nil: %v), %v", got, got == nil, err)
	}
}

func TestHistoryRefNamesTheFirst(t *testing.T) {
	h := openHistory(t, t.TempDir())
	batch := items(0, 4)
	batch[3].Ref = batch[1].Ref
	mustAppend(t, h, batch[:3])
	mustAppend(t, h, batch[3:])
	if index, ok, err := h.ByRef(batch[1].Ref); index != 1 || !ok || err != nil {
		t.Errorf("ref of 1 and 3 gives %d, %v, %v", index, ok, err)
	}
	long := item(4)
	long.Ref = string(make([]byte, 2000))
	if err := h.Append([]store.Item{long}); err == nil {
		t.Error("a ref of 2000 bytes was stored")
	}
	long = item(4)
	long.Entry = make([]byte, store.MaxEntryBytes+1)
	if err := h.Append([]store.Item{long}); err == nil {
		t.Error("an entry longer than the most was stored")
	}
	if index, ok, err := h.ByRef(""); ok || err != nil {
		t.Errorf("the empty ref gives %d, %v, %v", index, ok, err)
	}
}

// The tree is that of ledger/seal, and its proofs satisfy x/mod's checkers.
func TestHistoryTree(t *testing.T) {
	h := openHistory(t, t.TempDir())
	const size = 150
	var (
		edge  seal.Edge
		roots = [][32]byte{edge.Root()}
	)
	for i := range uint64(size) {
		edge.Append(item(i).Entry)
		roots = append(roots, edge.Root())
	}
	mustAppend(t, h, items(0, 70))
	mustAppend(t, h, items(70, size))
	for n := range uint64(size + 1) {
		if got, err := h.TreeHash(n); got != roots[n] || err != nil {
			t.Fatalf("tree of %d: %x, %v, want %x", n, got, err, roots[n])
		}
		for i := range n {
			proof, err := h.ProveRecord(n, i)
			if err != nil {
				t.Fatal(err)
			}
			if err := tlog.CheckRecord(proof, int64(n), roots[n], int64(i), seal.LeafHash(item(i).Entry)); err != nil {
				t.Fatalf("entry %d in tree of %d: %v", i, n, err)
			}
			consistent, err := h.ProveTree(n, i+1)
			if err != nil {
				t.Fatal(err)
			}
			if err := tlog.CheckTree(consistent, int64(n), roots[n], int64(i+1), roots[i+1]); err != nil {
				t.Fatalf("tree of %d in tree of %d: %v", i+1, n, err)
			}
		}
	}
	for name, err := range map[string]error{
		"a tree beyond the end":    second(h.TreeHash(size + 1)),
		"a record beyond the tree": second(h.ProveRecord(10, 10)),
		"a record in no tree":      second(h.ProveRecord(0, 0)),
		"a tree beyond the other":  second(h.ProveTree(10, 11)),
		"an empty old tree":        second(h.ProveTree(10, 0)),
		"a size beyond int64":      second(h.TreeHash(math.MaxUint64)),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// A power cut can keep a late transaction and lose an earlier one.
func TestHistoryEndsAtAHole(t *testing.T) {
	dir := t.TempDir()
	h := openHistory(t, dir)
	mustAppend(t, h, items(0, 50))
	if err := h.Sync(); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, h, items(50, 100))
	if err := h.DropEntry(70); err != nil {
		t.Fatal(err)
	}
	h = openHistory(t, crashImage(t, dir))
	wantHistory(t, h, 70)
	refilled := items(70, 100)
	refilled[5].Outcome = nil
	mustAppend(t, h, refilled)
	if got, err := h.Outcome(75); got != nil || err != nil {
		t.Errorf("the outcome lost with entry 75 is back: %q, %v", got, err)
	}
	mustAppend(t, h, items(70, 100))
	wantHistory(t, h, 100)
	var edge seal.Edge
	for i := range uint64(100) {
		edge.Append(item(i).Entry)
	}
	if got, err := h.TreeHash(100); got != edge.Root() || err != nil {
		t.Errorf("tree after filling in: %x, %v, want %x", got, err, edge.Root())
	}
}

// After a flipped byte in badger's write-ahead file the history is shorter, not wrong.
func TestHistoryLosesItsTailWhole(t *testing.T) {
	dir := t.TempDir()
	h := openHistory(t, dir)
	for i := range uint64(100) {
		mustAppend(t, h, items(i, i+1))
	}
	image := crashImage(t, dir)
	flip(t, filepath.Join(image, "history"), ".mem", item(60).Entry)
	wantHistory(t, openHistory(t, image), 60)
}

func TestHistoryFlippedByteInTable(t *testing.T) {
	dir := t.TempDir()
	h := openHistory(t, dir)
	mustAppend(t, h, items(0, 100))
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	flip(t, filepath.Join(dir, "history"), ".sst", item(60).Entry)
	h, err := store.OpenHistory(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer h.Close()
	var damaged *store.DamagedError
	if got, err := h.Entry(60); !errors.As(err, &damaged) || damaged.What != "history entry 60" {
		t.Errorf("the changed entry was read as %q, %v", got, err)
	}
}

func TestClosedHistory(t *testing.T) {
	h := openHistory(t, t.TempDir())
	mustAppend(t, h, items(0, 3))
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	for name, err := range map[string]error{
		"Entry":    second(h.Entry(1)),
		"TreeHash": second(h.TreeHash(2)),
		"Append":   h.Append(items(3, 4)),
		"Sync":     h.Sync(),
	} {
		if !errors.Is(err, store.ErrClosed) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	h := openHistory(b, b.TempDir())
	next := uint64(0)
	for b.Loop() {
		mustAppend(b, h, items(next, next+64))
		next += 64
	}
	b.ReportMetric(float64(next)/b.Elapsed().Seconds(), "entries/s")
}
