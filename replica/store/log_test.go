package store_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/dgraph-io/badger/v4"
	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

func TestLogReopens(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 300)
	if err := l.StageCommitIndex(305); err != nil {
		t.Fatal(err)
	}
	if err := l.SetUint64([]byte("CurrentTerm"), 31); err != nil {
		t.Fatal(err)
	}
	// Staged alone is not stored: it goes with the next entries, and never above the last.
	if n, _ := l.GetCommitIndex(); n != 0 {
		t.Errorf("staged commit index shows as %d before any StoreLogs", n)
	}
	mustStore(t, l, 301, 301)
	if n, _ := l.GetCommitIndex(); n != 301 {
		t.Errorf("commit index %d after staging 305, want the last index, 301", n)
	}
	if err := l.DeleteRange(1, 100); err != nil {
		t.Fatal(err)
	}
	if err := l.DeleteRange(281, 301); err != nil {
		t.Fatal(err)
	}
	for round := range 3 {
		if err := l.Close(); err != nil {
			t.Fatal(err)
		}
		l = openLog(t, dir)
		wantLog(t, l, 101, 280)
		if n, err := l.GetCommitIndex(); n != 280 || err != nil {
			t.Errorf("round %d: commit index %d, %v, want 280", round, n, err)
		}
		if n, err := l.GetUint64([]byte("CurrentTerm")); n != 31 || err != nil {
			t.Errorf("round %d: term %d, %v, want 31", round, n, err)
		}
	}
	if !l.IsMonotonic() {
		t.Error("the log says it takes gaps")
	}
}

func TestLogRefusesGaps(t *testing.T) {
	l := openLog(t, t.TempDir())
	mustStore(t, l, 5, 10)
	for name, bad := range map[string][]*raft.Log{
		"behind":         {entry(12)},
		"again":          {entry(10)},
		"before":         {entry(4)},
		"inside a batch": {entry(11), entry(13)},
		"backwards":      {entry(12), entry(11)},
	} {
		if err := l.StoreLogs(bad); err == nil {
			t.Errorf("%s: stored", name)
		}
	}
	if err := l.DeleteRange(6, 9); err == nil {
		t.Error("a hole was made")
	}
	for _, r := range [][2]uint64{{1, 4}, {11, 20}, {8, 7}} {
		if err := l.DeleteRange(r[0], r[1]); err != nil {
			t.Errorf("delete %d to %d, outside the log: %v", r[0], r[1], err)
		}
	}
	wantLog(t, l, 5, 10)
	if err := openLog(t, t.TempDir()).StoreLog(entry(0)); err == nil {
		t.Error("index 0 was stored")
	}
}

// More than a transaction, a memtable and a chunk of deletions hold.
func TestLogSplitsAndChunks(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	const n = 9000
	mustStore(t, l, 1, n)
	big := bytes.Repeat([]byte("grain"), store.MaxEntryBytes/5)
	var logs []*raft.Log
	for i := uint64(n + 1); i <= n+20; i++ {
		logs = append(logs, &raft.Log{Index: i, Term: 1000, Data: big})
	}
	if err := l.StoreLogs(logs); err != nil {
		t.Fatal(err)
	}
	if err := l.StoreLog(&raft.Log{Index: n + 21, Data: make([]byte, store.MaxEntryBytes+1)}); err == nil {
		t.Error("an entry longer than the most was stored")
	}
	var got raft.Log
	if err := l.GetLog(n+20, &got); err != nil || !bytes.Equal(got.Data, big) {
		t.Errorf("long entry came back with %d bytes, %v", len(got.Data), err)
	}
	if err := l.DeleteRange(n-4999, n+20); err != nil {
		t.Fatal(err)
	}
	wantLog(t, l, 1, n-5000)
	if err := l.DeleteRange(1, 3000); err != nil {
		t.Fatal(err)
	}
	if err := l.Compact(); err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	wantLog(t, openLog(t, dir), 3001, n-5000)
}

// Every acknowledged write is in the file that was synced, across badger's
// changes of file: what the single sync rests on.
func TestSyncedFileHoldsWhatWasWritten(t *testing.T) {
	l := openLog(t, t.TempDir())
	filler := bytes.Repeat([]byte{'x'}, 500<<10)
	seen := map[string]bool{}
	for i := uint64(1); i <= 60; i++ {
		want := payload(i)
		if err := l.StoreLog(&raft.Log{Index: i, Term: 1, Data: append(want, filler...)}); err != nil {
			t.Fatal(err)
		}
		// badger may have flushed and deleted a full file by now, but not the newest.
		b, err := os.ReadFile(l.SyncedFile())
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(b, want) {
			t.Fatalf("entry %d is not in %s", i, filepath.Base(l.SyncedFile()))
		}
		seen[l.SyncedFile()] = true
	}
	if len(seen) < 3 {
		t.Errorf("30 MB went to %d files: the test no longer sees badger change files", len(seen))
	}
}

func TestFailedSyncStopsWrites(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 5)
	mend, err := l.BreakSync()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.StoreLog(entry(6)); err == nil {
		t.Error("a write whose sync failed was acknowledged")
	}
	wantLog(t, l, 1, 5) // not shown to readers either
	mend()              // a disk that works again does not undo the doubt
	for name, err := range map[string]error{
		"StoreLog": l.StoreLog(entry(6)), "SetUint64": l.SetUint64([]byte("CurrentTerm"), 1), "DeleteRange": l.DeleteRange(1, 2),
	} {
		if err == nil {
			t.Errorf("%s went on after a failed sync", name)
		}
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = openLog(t, dir)
	if last, _ := l.LastIndex(); last < 5 {
		t.Errorf("log ends at %d after the restart, want at least 5", last)
	}
}

func TestDirInUse(t *testing.T) {
	dir := t.TempDir()
	l := openLog(t, dir)
	mustStore(t, l, 1, 3)
	_, err := store.OpenLog(dir, nil)
	if !errors.Is(err, store.ErrDirInUse) || !strings.Contains(err.Error(), "is in use by another yardhaspd; stop it first") {
		t.Errorf("second log: %v", err)
	}
	h, err := store.OpenHistory(dir, nil)
	if err != nil {
		t.Fatalf("log and history do not share a directory: %v", err)
	}
	if _, err := store.OpenHistory(dir, nil); !errors.Is(err, store.ErrDirInUse) {
		t.Errorf("second history: %v", err)
	}
	if err := h.Close(); err != nil {
		t.Fatal(err)
	}
	wantLog(t, l, 1, 3)
}

func TestForeignDatabaseIsRefused(t *testing.T) {
	dir := t.TempDir()
	db, err := badger.Open(badger.DefaultOptions(filepath.Join(dir, "history")).WithLogger(nil))
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := store.OpenHistory(dir, nil); !errors.Is(err, store.ErrForeign) {
		t.Errorf("a database of badger's own: %v", err)
	}
	dir = t.TempDir()
	if err := openLog(t, dir).Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(filepath.Join(dir, "raft"), filepath.Join(dir, "history")); err != nil {
		t.Fatal(err)
	}
	if _, err := store.OpenHistory(dir, nil); !errors.Is(err, store.ErrForeign) {
		t.Errorf("a raft log in place of the history: %v", err)
	}
}

func TestClosedLog(t *testing.T) {
	l := openLog(t, t.TempDir())
	mustStore(t, l, 1, 3)
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	var got raft.Log
	if err := l.GetLog(1, &got); !errors.Is(err, store.ErrClosed) {
		t.Errorf("GetLog: %v", err)
	}
	if err := l.StoreLog(entry(4)); !errors.Is(err, store.ErrClosed) {
		t.Errorf("StoreLog: %v", err)
	}
	if _, err := l.Get([]byte("k")); !errors.Is(err, store.ErrClosed) {
		t.Errorf("Get: %v", err)
	}
}

func BenchmarkStoreLogs(b *testing.B) {
	for name, n := range map[string]uint64{"1": 1, "64": 64} {
		b.Run(name, func(b *testing.B) {
			l := openLog(b, b.TempDir())
			next := uint64(1)
			for b.Loop() {
				mustStore(b, l, next, next+n-1)
				next += n
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
		})
	}
}

// raft reads from its replication goroutines while it writes and, from another,
// deletes. A reader meets the entry or raft.ErrLogNotFound, nothing else.
func TestLogReadsWhileItChanges(t *testing.T) {
	l := openLog(t, t.TempDir())
	mustStore(t, l, 1, 5000)
	done, result := make(chan struct{}), make(chan error, 2)
	for range 2 {
		go func() {
			for {
				select {
				case <-done:
					result <- nil
					return
				default:
				}
				first, _ := l.FirstIndex()
				last, _ := l.LastIndex()
				for _, i := range []uint64{first, first + 1, last - 1, last} {
					var got raft.Log
					err := l.GetLog(i, &got)
					if err == nil && !bytes.Equal(got.Data, payload(i)) {
						err = errors.New("entry " + string(got.Data))
					}
					if err != nil && err != raft.ErrLogNotFound {
						result <- err
						return
					}
				}
			}
		}()
	}
	for i := uint64(0); i < 60; i++ {
		mustStore(t, l, 5001+i*10, 5010+i*10)
		if err := l.DeleteRange(1, 50*(i+1)); err != nil {
			t.Fatal(err)
		}
	}
	close(done)
	for range 2 {
		if err := <-result; err != nil {
			t.Error(err)
		}
	}
	wantLog(t, l, 3001, 5600)
}
