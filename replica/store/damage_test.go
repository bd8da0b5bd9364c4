package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

func TestCrashImageOpens(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 50)
	for i := uint64(51); i <= 400; i++ {
		mustStore(t, l, i, i)
	}
	wantLog(t, openLog(t, crashImage(t, dir)), 1, 400)
}

// badger opens without a word when a byte of its write-ahead file is flipped,
// and drops everything behind it.
func TestShortenedLogIsNoticed(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	for i := uint64(1); i <= 100; i++ {
		mustStore(t, l, i, i)
	}
	image := crashImage(t, dir)
	flip(t, filepath.Join(image, "raft"), ".mem", payload(60))
	for round := range 2 { // it stays noticed
		_, err := store.OpenLog(image, nil)
		var short *store.ShortenedError
		if !errors.As(err, &short) {
			t.Fatalf("round %d: %v, want a ShortenedError", round, err)
		}
		if short.Have != 59 || short.Want != 100 || short.HaveWrites != 59 || short.WantWrites != 100 {
			t.Errorf("round %d: %+v", round, *short)
		}
	}
}

// A lost vote, or a lost deletion, shortens no log; the count of writes tells.
func TestLostVariableIsNoticed(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 10)
	if err := l.Set([]byte("LastVoteCand"), []byte("the yard of millrow")); err != nil {
		t.Fatal(err)
	}
	image := crashImage(t, dir)
	flip(t, filepath.Join(image, "raft"), ".mem", []byte("the yard of millrow"))
	_, err := store.OpenLog(image, nil)
	var short *store.ShortenedError
	if !errors.As(err, &short) || short.Have != 10 || short.Want != 10 || short.HaveWrites+1 != short.WantWrites {
		t.Errorf("%v (%+v), want a ShortenedError of one write", err, short)
	}
}

func TestWipedLogIsNoticed(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 10)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(dir, "raft")); err != nil {
		t.Fatal(err)
	}
	_, err := store.OpenLog(dir, nil)
	var short *store.ShortenedError
	if !errors.As(err, &short) || short.Have != 0 || short.Want != 10 {
		t.Errorf("%v, want a ShortenedError from 10 to 0", err)
	}
}

func TestDamagedMark(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	for i := uint64(1); i <= 10; i++ {
		mustStore(t, l, i, i)
	}
	for name, damage := range map[string]func(b []byte) []byte{
		"missing": func([]byte) []byte { return nil },
		"empty":   func([]byte) []byte { return []byte{} },
		"both slots": func(b []byte) []byte {
			b[20] ^= 1
			b[4096+20] ^= 1
			return b
		},
	} {
		image := crashImage(t, dir)
		path := filepath.Join(image, "raft.mark")
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if b = damage(b); b == nil {
			err = os.Remove(path)
		} else {
			err = os.WriteFile(path, b, 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		_, err = store.OpenLog(image, nil)
		var damaged *store.DamagedError
		if !errors.As(err, &damaged) || !strings.HasSuffix(damaged.What, "raft.mark") {
			t.Errorf("%s: %v, want a DamagedError", name, err)
		}
	}
	// The mark of another log, of as many writes.
	foreign := t.TempDir()
	mustStore(t, openLog(t, foreign), 1, 3)
	b, err := os.ReadFile(filepath.Join(foreign, "raft.mark"))
	if err != nil {
		t.Fatal(err)
	}
	swapped := t.TempDir()
	l = openLog(t, swapped)
	mustStore(t, l, 1, 10)
	image := crashImage(t, swapped)
	if err := os.WriteFile(filepath.Join(image, "raft.mark"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	var damaged *store.DamagedError
	if _, err := store.OpenLog(image, nil); !errors.As(err, &damaged) {
		t.Errorf("another log's mark: %v, want a DamagedError", err)
	}
	wantLog(t, l, 1, 10)
}

// One slot torn by a power cut leaves the other, older by one write.
func TestTornMark(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	for i := uint64(1); i <= 10; i++ {
		mustStore(t, l, i, i)
	}
	for _, at := range []int{20, 4096 + 20} {
		image := crashImage(t, dir)
		path := filepath.Join(image, "raft.mark")
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		b[at] ^= 1
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		wantLog(t, openLog(t, image), 1, 10)
	}
}

// A flipped byte in a table file is found when its entry is read.
func TestFlippedByteInTable(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 100)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	flip(t, filepath.Join(dir, "raft"), ".sst", payload(60))
	l, err := store.OpenLog(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	var (
		got     raft.Log
		damaged *store.DamagedError
	)
	if err := l.GetLog(60, &got); !errors.As(err, &damaged) || damaged.What != "raft log entry 60" {
		t.Errorf("the changed entry was read as %q, %v", got.Data, err)
	}
}

// The sum over key and value notices each flipped bit of both, and of itself.
func TestValueChecksum(t *testing.T) {
	key, want := []byte("l key"), "the value"
	sealed := store.SealValue(key, []byte(want))
	if got, ok := store.OpenValue(key, sealed); !ok || string(got) != want {
		t.Fatalf("%q came back as %q, %v", want, got, ok)
	}
	for _, part := range [][]byte{key, sealed} {
		for i := range part {
			for bit := range 8 {
				part[i] ^= 1 << bit
				if _, ok := store.OpenValue(key, sealed); ok {
					t.Errorf("byte %d, bit %d of %q flipped and not noticed", i, bit, part)
				}
				part[i] ^= 1 << bit
			}
		}
	}
	for n := range sealed {
		if _, ok := store.OpenValue(key, sealed[:n]); ok {
			t.Errorf("the first %d bytes pass", n)
		}
	}
}

func TestStoredEntryIsStrict(t *testing.T) {
	want := raft.Log{Index: 1 << 40, Term: 9, Type: raft.LogCommand, Data: []byte("data"), Extensions: []byte("more")}
	b := store.EncodeLog(nil, &want)
	var got raft.Log
	if !store.DecodeLog(b, &got) || got.Index != want.Index || string(got.Data) != "data" || string(got.Extensions) != "more" {
		t.Fatalf("%+v came back as %+v", want, got)
	}
	for n := range b {
		if store.DecodeLog(b[:n], &got) {
			t.Errorf("the first %d of %d bytes were read", n, len(b))
		}
	}
	if store.DecodeLog(append(b, 0), &got) {
		t.Error("a byte too many was read")
	}
}

func FuzzDecodeLog(f *testing.F) {
	f.Add(store.EncodeLog(nil, entry(7)))
	f.Add([]byte{1})
	f.Fuzz(func(t *testing.T, b []byte) {
		var l raft.Log
		if store.DecodeLog(b, &l) && string(store.EncodeLog(nil, &l)) != string(b) {
			t.Errorf("%x is read as %+v, which is written differently", b, l)
		}
	})
}
