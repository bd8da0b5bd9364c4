package store_test

import (
	"testing"

	"github.com/hashicorp/raft"
)

type raftStore interface {
	raft.LogStore
	raft.StableStore
	raft.CommitTrackingLogStore
}

// conformance is what raft 1.8.0 asks of its stores. The second implementation
// is hashicorp/raft's own in-memory store.
var conformance = []struct {
	name string
	run  func(*testing.T, raftStore)
}{
	{"empty", func(t *testing.T, s raftStore) {
		wantLog(t, s, 0, 0)
	}},
	{"append one and many", func(t *testing.T, s raftStore) {
		if err := s.StoreLog(entry(1)); err != nil {
			t.Fatal(err)
		}
		wantLog(t, s, 1, 1)
		mustStore(t, s, 2, 70)
		wantLog(t, s, 1, 70)
	}},
	{"nothing to append", func(t *testing.T, s raftStore) {
		if err := s.StoreLogs(nil); err != nil {
			t.Fatal(err)
		}
		wantLog(t, s, 0, 0)
	}},
	{"begin behind a snapshot", func(t *testing.T, s raftStore) {
		mustStore(t, s, 501, 510)
		wantLog(t, s, 501, 510)
	}},
	{"delete the beginning", func(t *testing.T, s raftStore) {
		mustStore(t, s, 1, 50)
		if err := s.DeleteRange(1, 20); err != nil {
			t.Fatal(err)
		}
		wantLog(t, s, 21, 50)
	}},
	{"delete the end and write it again", func(t *testing.T, s raftStore) {
		mustStore(t, s, 1, 50)
		if err := s.DeleteRange(31, 50); err != nil {
			t.Fatal(err)
		}
		wantLog(t, s, 1, 30)
		mustStore(t, s, 31, 40)
		wantLog(t, s, 1, 40)
	}},
	{"delete all and begin elsewhere", func(t *testing.T, s raftStore) {
		mustStore(t, s, 1, 50)
		if err := s.DeleteRange(1, 50); err != nil {
			t.Fatal(err)
		}
		wantLog(t, s, 0, 0)
		mustStore(t, s, 201, 210)
		wantLog(t, s, 201, 210)
	}},
	{"data and extensions", func(t *testing.T, s raftStore) {
		want := raft.Log{Index: 1, Term: 2, Type: raft.LogConfiguration, Data: []byte{0, 1}, Extensions: []byte("x")}
		if err := s.StoreLog(&want); err != nil {
			t.Fatal(err)
		}
		var got raft.Log
		if err := s.GetLog(1, &got); err != nil {
			t.Fatal(err)
		}
		if got.Index != 1 || got.Term != 2 || got.Type != raft.LogConfiguration || string(got.Data) != "\x00\x01" || string(got.Extensions) != "x" || !got.AppendedAt.IsZero() {
			t.Errorf("got %+v, want %+v", got, want)
		}
	}},
	{"raft's variables", func(t *testing.T, s raftStore) {
		// raft 1.8.0, api.go: err.Error() != "not found" stops a start.
		if v, err := s.Get([]byte("LastVoteCand")); err == nil || err.Error() != "not found" || len(v) != 0 {
			t.Errorf("absent variable: %q, %v", v, err)
		}
		if n, err := s.GetUint64([]byte("CurrentTerm")); n != 0 || err != nil {
			t.Errorf("absent number: %d, %v", n, err)
		}
		for _, v := range []string{"eastfork", "millrow"} {
			if err := s.Set([]byte("LastVoteCand"), []byte(v)); err != nil {
				t.Fatal(err)
			}
			if got, err := s.Get([]byte("LastVoteCand")); string(got) != v || err != nil {
				t.Errorf("variable %q, %v, want %q", got, err, v)
			}
		}
		for _, n := range []uint64{7, 1 << 63} {
			if err := s.SetUint64([]byte("CurrentTerm"), n); err != nil {
				t.Fatal(err)
			}
			if got, err := s.GetUint64([]byte("CurrentTerm")); got != n || err != nil {
				t.Errorf("number %d, %v, want %d", got, err, n)
			}
		}
		// A variable is not an entry, whatever its name.
		if err := s.SetUint64([]byte("\x00\x00\x00\x00\x00\x00\x00\x01"), 9); err != nil {
			t.Fatal(err)
		}
		wantLog(t, s, 0, 0)
	}},
	{"commit index", func(t *testing.T, s raftStore) {
		if n, err := s.GetCommitIndex(); n != 0 || err != nil {
			t.Fatalf("commit index of an empty log %d, %v", n, err)
		}
		if err := s.StageCommitIndex(8); err != nil {
			t.Fatal(err)
		}
		mustStore(t, s, 1, 10)
		if n, err := s.GetCommitIndex(); n != 8 || err != nil {
			t.Errorf("commit index %d, %v, want 8", n, err)
		}
	}},
}

func TestConformance(t *testing.T) {
	stores := map[string]func(*testing.T) raftStore{
		"ours":                   func(t *testing.T) raftStore { return openLog(t, t.TempDir()) },
		"hashicorp/raft, memory": func(*testing.T) raftStore { return raft.NewInmemCommitTrackingStore() },
	}
	for name, open := range stores {
		for _, c := range conformance {
			t.Run(name+"/"+c.name, func(t *testing.T) { c.run(t, open(t)) })
		}
	}
}
