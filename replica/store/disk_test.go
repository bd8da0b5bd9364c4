package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"yardhasp/replica/store"
)

func TestFreeBytes(t *testing.T) {
	if n, err := store.FreeBytes(t.TempDir()); err != nil || n == 0 {
		t.Errorf("%d free, %v", n, err)
	}
	if _, err := store.FreeBytes(filepath.Join(t.TempDir(), "absent")); err == nil {
		t.Error("free space of no directory")
	}
}

func TestDiskWatchLevels(t *testing.T) {
	w, err := store.NewDiskWatch(t.TempDir(), 1000, 100, 50)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		free uint64
		err  error
		want store.Level
	}{
		{5000, nil, store.LevelPlenty},
		{1000, nil, store.LevelPlenty},
		{999, nil, store.LevelLow},
		{100, nil, store.LevelLow},
		{99, nil, store.LevelFull},
		{0, nil, store.LevelFull},
		{5000, errors.New("no answer"), store.LevelFull},
	} {
		w.SetFree(func(string) (uint64, error) { return c.free, c.err })
		level, _, err := w.Level()
		if level != c.want || !errors.Is(err, c.err) {
			t.Errorf("%d free, %v: %v, %v, want %v", c.free, c.err, level, err, c.want)
		}
		if got, want := w.Low(), c.want != store.LevelPlenty; got != want {
			t.Errorf("%d free, %v: low %v, want %v", c.free, c.err, got, want)
		}
	}
	if _, err := store.NewDiskWatch(t.TempDir(), 100, 100, 0); err == nil {
		t.Error("full may be as high as low")
	}
	if _, err := store.NewDiskWatch(t.TempDir(), 100, 10, -1); err == nil {
		t.Error("a ballast of less than nothing")
	}
}

func TestBallast(t *testing.T) {
	const size = 300_000
	dir := t.TempDir()
	w, err := store.NewDiskWatch(dir, 1000, 100, size)
	if err != nil {
		t.Fatal(err)
	}
	want := func(step string, want bool) {
		t.Helper()
		if has, err := w.HasBallast(); has != want || err != nil {
			t.Fatalf("%s: ballast %v, %v, want %v", step, has, err, want)
		}
	}
	want("at first", false)
	w.SetFree(func(string) (uint64, error) { return 1000 + size - 1, nil })
	if has, err := w.FillBallast(); has || err != nil {
		t.Fatalf("a byte too little: %v, %v", has, err)
	}
	want("a byte too little", false)
	w.SetFree(func(string) (uint64, error) { return 1000 + size, nil })
	for range 2 {
		if has, err := w.FillBallast(); !has || err != nil {
			t.Fatalf("enough: %v, %v", has, err)
		}
		want("enough", true)
	}
	info, err := os.Stat(filepath.Join(dir, "ballast"))
	if err != nil || info.Size() != size {
		t.Fatalf("ballast file: %v, %v", info, err)
	}
	for range 2 {
		if err := w.DropBallast(); err != nil {
			t.Fatal(err)
		}
		want("dropped", false)
	}
}
