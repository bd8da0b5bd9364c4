package store_test

import (
	"bytes"
	"errors"
	"fmt"
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

// A flipped byte in a table file is found when the log is opened.
func TestFlippedByteInTable(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 100)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	flip(t, filepath.Join(dir, "raft"), ".sst", payload(60))
	var damaged *store.DamagedError
	if l, err := store.OpenLog(dir, nil); !errors.As(err, &damaged) || !strings.Contains(err.Error(), "does not match its checksum") {
		t.Errorf("opened with a changed entry: %v", err)
		if err == nil {
			l.Close()
		}
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

// For a key in a damaged block badger answers that there is none: a vote lost that way
// would be a vote given again, so the whole log is read when it is opened.
func TestVoteLostInTable(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 10)
	if err := l.Set([]byte("LastVoteCand"), []byte("the yard of millrow")); err != nil {
		t.Fatal(err)
	}
	mustStore(t, l, 11, 60)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	flip(t, filepath.Join(dir, "raft"), ".sst", []byte("the yard of millrow"))
	var damaged *store.DamagedError
	l, err := store.OpenLog(dir, nil)
	if err == nil {
		got, err := l.Get([]byte("LastVoteCand"))
		l.Close()
		t.Fatalf("the log opens, and its vote is %q, %v", got, err)
	}
	if !errors.As(err, &damaged) {
		t.Errorf("%v, want a DamagedError", err)
	}
}

// A table cut short, at any of many lengths, and any byte flipped of one: badger
// itself would end the process for some of them.
func TestTableHarmed(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 40)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	tables, err := filepath.Glob(filepath.Join(dir, "raft", "*.sst"))
	if err != nil || len(tables) != 1 {
		t.Fatalf("tables %v, %v", tables, err)
	}
	whole, err := os.ReadFile(tables[0])
	if err != nil {
		t.Fatal(err)
	}
	try := func(name string, b []byte) {
		if err := os.WriteFile(tables[0], b, 0o600); err != nil {
			t.Fatal(err)
		}
		var damaged *store.DamagedError
		if l, err := store.OpenLog(dir, nil); !errors.As(err, &damaged) {
			t.Errorf("%s: %v, want a DamagedError", name, err)
			if err == nil {
				l.Close()
			}
		}
	}
	for n := 0; n < len(whole); n += 97 {
		try(fmt.Sprintf("cut to %d bytes", n), whole[:n])
	}
	for i := 0; i < len(whole); i += 61 {
		b := bytes.Clone(whole)
		b[i] ^= 0x40
		try(fmt.Sprintf("byte %d of %d flipped", i, len(whole)), b)
	}
	for i := len(whole) - 24; i < len(whole); i++ { // the lengths and the index's checksum
		b := bytes.Clone(whole)
		b[i] ^= 0x80
		try(fmt.Sprintf("byte %d of %d flipped", i, len(whole)), b)
	}
	if err := os.WriteFile(tables[0], whole, 0o600); err != nil {
		t.Fatal(err)
	}
	wantLog(t, openLog(t, dir), 1, 40)
}

// Tables whose list is gone are not deleted, as badger would.
func TestListOfTablesGone(t *testing.T) {
	dir := t.TempDir()
	h, err := store.OpenHistory(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Append([]store.Item{{Index: 0, Entry: []byte("an entry")}}); err != nil {
		t.Fatal(err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "history", "MANIFEST")); err != nil {
		t.Fatal(err)
	}
	var damaged *store.DamagedError
	if h, err := store.OpenHistory(dir, nil); !errors.As(err, &damaged) {
		t.Errorf("%v, want a DamagedError", err)
		if err == nil {
			h.Close()
		}
	}
	if left, _ := filepath.Glob(filepath.Join(dir, "history", "*.sst")); len(left) != 1 {
		t.Errorf("tables left: %v", left)
	}
}

// A table that was being written when the machine died is in no list: it is no
// damage, and the log opens without it.
func TestTableHalfWritten(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 40)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "raft", "000099.sst"), make([]byte, 5000), 0o600); err != nil {
		t.Fatal(err)
	}
	wantLog(t, openLog(t, dir), 1, 40)
}
