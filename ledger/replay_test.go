package ledger_test

import (
	"bytes"
	"encoding/hex"
	"math/rand/v2"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func unhex(t testing.TB, s string) []byte {
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// leaves lets x/mod's tlog compute the root of the same leaves.
type leaves []tlog.Hash

func (h leaves) ReadHashes(ix []int64) ([]tlog.Hash, error) {
	var out []tlog.Hash
	for _, i := range ix {
		out = append(out, h[i])
	}
	return out, nil
}

// TestSameEntriesSameState replays the entries of whole scenarios, with junk
// mixed in, on fresh states: byte-identical state and the same root at every
// entry, with a save and a restore at a random place; the root is checked
// against golang.org/x/mod/sumdb/tlog. Go shuffles map order by itself at each
// range, and each seed takes another path.
func TestSameEntriesSameState(t *testing.T) {
	for seed := range int64(seeds(t, 60, 4)) {
		d := newDraws(seed)
		paths := d.next("paths")
		w := released(t)
		for range 30 {
			w.randomStep(d.next("step"))
		}
		a, b := ledger.New(), ledger.New()
		var hashes leaves
		for i, raw := range w.entries {
			ea, err := ledger.Decode(raw)
			if err != nil {
				t.Fatal(err)
			}
			eb, _ := ledger.Decode(raw)
			oa, ob := a.Apply(ea), b.Apply(eb)
			if !bytes.Equal(marshal(t, oa), marshal(t, ob)) {
				t.Fatalf("seed %d entry %d: outcomes differ:\n%v\n%v", seed, i, oa, ob)
			}
			hs, err := tlog.StoredHashes(int64(i), raw, hashes)
			if err != nil {
				t.Fatal(err)
			}
			hashes = append(hashes, hs...)
			if paths.IntN(5) == 0 {
				sa := a.AppendCanonical(nil)
				if !bytes.Equal(sa, b.AppendCanonical(nil)) {
					t.Fatalf("seed %d entry %d: states differ", seed, i)
				}
				if b, err = ledger.Restore(sa); err != nil {
					t.Fatal(err)
				}
				if !bytes.Equal(sa, b.AppendCanonical(nil)) {
					t.Fatalf("seed %d entry %d: a restored state is another state", seed, i)
				}
			}
		}
		if a.Root() != b.Root() || a.Root() != w.s.Root() {
			t.Fatalf("seed %d: roots differ", seed)
		}
		want, err := tlog.TreeHash(int64(len(w.entries)), hashes)
		if err != nil {
			t.Fatal(err)
		}
		if tlog.Hash(a.Root()) != want {
			t.Fatalf("seed %d: root %x, tlog says %x", seed, a.Root(), want)
		}
		if !bytes.Equal(a.AppendCanonical(nil), w.s.AppendCanonical(nil)) {
			t.Fatalf("seed %d: the replayed state is not the first one", seed)
		}
	}
}

// randomStep does something, allowed or not.
func (w *world) randomStep(rng *rand.Rand) {
	people := []string{"ravi", "tomas", "lena", "dov", "mara", "nia"}
	yards := []string{"stonebend", "millrow", "eastfork"}
	p, y := anyOf(rng, people...), anyOf(rng, yards...)
	hold, on := "stonebend/1/1", "stonebend/1/1"
	for ref, h := range w.s.Holds {
		if h.Active() {
			hold = max(hold, ref)
		}
	}
	for ref := range w.s.SignOns {
		on = max(on, ref)
	}
	acts := map[string]*recordv1.Record{}
	var names []string
	for _, a := range everyAct(w, hold, on) { // some kinds are there more than once
		name := ledger.KindOf(a)
		for acts[name] != nil {
			name += " again"
		}
		acts[name] = a
		names = append(names, name)
	}
	act := acts[anyOf(rng, names...)]
	switch row := ledger.KindFor(act); {
	case rng.IntN(10) == 0:
		w.fence(y, "start-1")
	case rng.IntN(20) == 0:
		junk := make([]byte, rng.IntN(80))
		for i := range junk {
			junk[i] = byte(rng.Uint32())
		}
		if e, err := ledger.Decode(junk); err == nil {
			w.entries = append(w.entries, junk)
			w.s.Apply(e)
		}
	case row.Way == ledger.ThroughJournal:
		w.journal(y, p, act)
	default:
		w.direct(p, act)
	}
}
