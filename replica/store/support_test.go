package store_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

func openLog(t testing.TB, dir string) *store.Log {
	t.Helper()
	l, err := store.OpenLog(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	})
	return l
}

// payload is long enough to be found in a file, and different for each index.
func payload(index uint64) []byte { return fmt.Appendf(nil, "entry %08d of the raft log", index) }

func entry(index uint64) *raft.Log {
	return &raft.Log{
		Index: index, Term: 1 + index/10, Type: raft.LogCommand, Data: payload(index),
		AppendedAt: time.Unix(1_700_000_000, int64(index)),
	}
}

func entries(from, to uint64) []*raft.Log {
	var out []*raft.Log
	for i := from; i <= to; i++ {
		out = append(out, entry(i))
	}
	return out
}

func mustStore(t testing.TB, l raft.LogStore, from, to uint64) {
	t.Helper()
	if err := l.StoreLogs(entries(from, to)); err != nil {
		t.Fatal(err)
	}
}

// wantLog checks the bounds, each entry between them, and that there is none outside.
func wantLog(t testing.TB, l raft.LogStore, first, last uint64) {
	t.Helper()
	gotFirst, err := l.FirstIndex()
	if err != nil {
		t.Fatal(err)
	}
	gotLast, err := l.LastIndex()
	if err != nil {
		t.Fatal(err)
	}
	if gotFirst != first || gotLast != last {
		t.Fatalf("log is %d to %d, want %d to %d", gotFirst, gotLast, first, last)
	}
	for i := first; i <= last && i > 0; i++ {
		var got raft.Log
		if err := l.GetLog(i, &got); err != nil {
			t.Fatalf("entry %d: %v", i, err)
		}
		want := entry(i)
		if got.Index != i || got.Term != want.Term || got.Type != want.Type || !bytes.Equal(got.Data, want.Data) || !got.AppendedAt.Equal(want.AppendedAt) {
			t.Fatalf("entry %d is %+v, want %+v", i, got, *want)
		}
	}
	outside := []uint64{0, last + 1, last + 1000}
	if first > 0 {
		outside = append(outside, first-1)
	}
	for _, i := range outside {
		var got raft.Log
		// raft compares with ==, so a wrapped error would not do.
		if err := l.GetLog(i, &got); err != raft.ErrLogNotFound {
			t.Fatalf("entry %d, outside %d to %d: %v, want raft.ErrLogNotFound itself", i, first, last, err)
		}
	}
}

// crashImage copies a directory that is in use: what a killed process leaves.
func crashImage(t *testing.T, from string) string {
	t.Helper()
	to := t.TempDir()
	err := filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		if d.IsDir() {
			return os.MkdirAll(filepath.Join(to, rel), 0o700)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, rel), b, 0o600)
	})
	if err != nil {
		t.Fatal(err)
	}
	return to
}

// flip changes one bit in the middle of the last place where want stands in a
// file of dir whose name ends in suffix.
func flip(t *testing.T, dir, suffix string, want []byte) {
	t.Helper()
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !strings.HasSuffix(f.Name(), suffix) {
			continue
		}
		path := filepath.Join(dir, f.Name())
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if at := bytes.LastIndex(b, want); at >= 0 {
			b[at+len(want)/2] ^= 1
			if err := os.WriteFile(path, b, 0o600); err != nil {
				t.Fatal(err)
			}
			return
		}
	}
	t.Fatalf("%q is in no file *%s of %s", want, suffix, dir)
}
