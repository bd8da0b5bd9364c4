package seal_test

import (
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/transparency-dev/merkle/compact"
	"github.com/transparency-dev/merkle/rfc6962"
	"golang.org/x/mod/sumdb/tlog"

	"yardhasp/ledger/seal"
)

// The eight leaves and the roots of the trees of 0 to 8 of them are the
// vectors of the Certificate Transparency project for RFC 6962.
var (
	ctLeaves = []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	ctRoots  = []string{
		"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
		"6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
		"fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
		"aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
		"d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
		"4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
		"76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
		"ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
		"5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
	}
)

func TestEdgeMeetsCTVectors(t *testing.T) {
	var e seal.Edge
	for n := range ctRoots {
		root := e.Root()
		if got := hex.EncodeToString(root[:]); got != ctRoots[n] {
			t.Errorf("size %d: root %s, want %s", n, got, ctRoots[n])
		}
		if n < len(ctLeaves) {
			e.Append(unhex(t, ctLeaves[n]))
		}
	}
}

// storedHashes is the storage that tlog wants, in memory.
type storedHashes []tlog.Hash

func (s storedHashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	var out []tlog.Hash
	for _, i := range indexes {
		out = append(out, s[i])
	}
	return out, nil
}

// Two other implementations agree on the root, one also on the edge itself.
func TestEdgeAgreesWithOthers(t *testing.T) {
	const sizes = 300
	var (
		e       seal.Edge
		stored  storedHashes
		factory = compact.RangeFactory{Hash: rfc6962.DefaultHasher.HashChildren}
		other   = factory.NewEmptyRange(0)
	)
	for n := range int64(sizes + 1) {
		if err := e.Check(); err != nil || e.Size != uint64(n) {
			t.Fatalf("size %d, want %d: %v", e.Size, n, err)
		}
		want, err := tlog.TreeHash(n, stored)
		if err != nil {
			t.Fatal(err)
		}
		if e.Root() != [32]byte(want) {
			t.Errorf("size %d: root %x, tlog has %x", n, e.Root(), want)
		}
		if !slices.EqualFunc(e.Hashes, other.Hashes(), func(a [32]byte, b []byte) bool { return string(a[:]) == string(b) }) {
			t.Errorf("size %d: edge differs from transparency-dev/merkle's compact range", n)
		}
		leaf := binary.BigEndian.AppendUint64([]byte("leaf "), uint64(n))
		if hash := seal.LeafHash(leaf); string(hash[:]) != string(rfc6962.DefaultHasher.HashLeaf(leaf)) {
			t.Errorf("leaf hash of %q differs from transparency-dev/merkle's", leaf)
		}
		hashes, err := tlog.StoredHashes(n, leaf, stored)
		if err != nil {
			t.Fatal(err)
		}
		stored = append(stored, hashes...)
		if err := other.Append(rfc6962.DefaultHasher.HashLeaf(leaf), nil); err != nil {
			t.Fatal(err)
		}
		e.Append(leaf)
	}
}

func TestCloneSharesNothing(t *testing.T) {
	var e seal.Edge
	for range 5 {
		e.Append([]byte("a"))
	}
	before, c := e.Root(), e.Clone()
	e.Append([]byte("b"))
	c.Append([]byte("c"))
	c.Hashes[0] = [32]byte{}
	e2 := e.Clone()
	e2.Append([]byte("d"))
	var want seal.Edge
	for range 5 {
		want.Append([]byte("a"))
	}
	if want.Root() != before {
		t.Error("appending to a clone changed the original's past")
	}
	want.Append([]byte("b"))
	if e.Root() != want.Root() {
		t.Errorf("root %x, want %x: a clone's change reached it", e.Root(), want.Root())
	}
}

func TestEdgeJSON(t *testing.T) {
	var e seal.Edge
	for n := range 40 {
		text, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		var back seal.Edge
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatalf("size %d: %v", n, err)
		}
		if back.Size != e.Size || !slices.Equal(back.Hashes, e.Hashes) {
			t.Fatalf("size %d came back as %d", e.Size, back.Size)
		}
		indented, err := json.MarshalIndent(map[string]any{"edge": e}, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		var nested struct{ Edge seal.Edge }
		if err := json.Unmarshal(indented, &nested); err != nil || nested.Edge.Root() != e.Root() {
			t.Fatalf("size %d, indented: %v", n, err)
		}
		e.Append([]byte{byte(n)})
	}
}

func TestEdgeJSONIsStrict(t *testing.T) {
	one := "bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=" // the CT root of size 1
	good := `{"size":1,"hashes":"` + one + `"}`
	var e seal.Edge
	if err := json.Unmarshal([]byte(good), &e); err != nil || e.Size != 1 {
		t.Fatalf("%s: %v", good, err)
	}
	for name, text := range map[string]string{
		"no fields":       `{}`,
		"null":            `null`,
		"hash missing":    `{"size":1,"hashes":""}`,
		"hash too many":   `{"size":0,"hashes":"` + one + `"}`,
		"short hash":      `{"size":1,"hashes":"AAAA"}`,
		"spare bits":      `{"size":1,"hashes":"` + strings.Replace(one, "0=", "1=", 1) + `"}`,
		"newline":         `{"size":1,"hashes":"` + strings.Replace(one, "0=", `0=\n`, 1) + `"}`,
		"unknown field":   `{"size":1,"hashes":"` + one + `","root":""}`,
		"repeated field":  `{"size":1,"size":1,"hashes":"` + one + `"}`,
		"other spelling":  `{"Size":1,"hashes":"` + one + `"}`,
		"other order":     `{"hashes":"` + one + `","size":1}`,
		"negative":        `{"size":-1,"hashes":"` + one + `"}`,
		"fraction":        `{"size":1.0,"hashes":"` + one + `"}`,
		"size as a text":  `{"size":"1","hashes":"` + one + `"}`,
		"beyond 64 bits":  `{"size":18446744073709551617,"hashes":"` + one + `"}`,
		"list, no object": `[1,"` + one + `"]`,
	} {
		e := seal.Edge{Size: 7}
		if err := e.UnmarshalJSON([]byte(text)); err == nil {
			t.Errorf("%s: %s was read", name, text)
		}
		if e.Size != 7 {
			t.Errorf("%s: a refused text changed the edge", name)
		}
	}
}

func TestBadEdgeIsNoTree(t *testing.T) {
	for _, e := range []seal.Edge{
		{Size: 1},
		{Size: 3, Hashes: make([][32]byte, 1)},
		{Size: 0, Hashes: make([][32]byte, 1)},
		{Size: math.MaxUint64},
	} {
		size := e.Size
		e.Append([]byte("leaf"))
		if e.Check() == nil || e.Size != size {
			t.Errorf("size %d: an append hid the fault", size)
		}
		if e.Root() != [32]byte{} {
			t.Errorf("size %d: a root without a tree: %x", size, e.Root())
		}
		if _, err := json.Marshal(e); err == nil {
			t.Errorf("size %d was written", size)
		}
	}
}
