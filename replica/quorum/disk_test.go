package quorum

import (
	"errors"
	"testing"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

// TestFullDiskKeepsTail: a follower whose disk is full refuses entries as a whole.
// raft 1.8.0 (appendEntries) deletes a tail that conflicts, then writes the new
// one, and keeps the old end in memory when the write fails: from then on it finds
// "log not found" and refuses everything until a restart.
func TestFullDiskKeepsTail(t *testing.T) {
	log, err := store.OpenLog(t.TempDir(), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	entries := func(term uint64, from, to uint64) (out []*raft.Log) {
		for i := from; i <= to; i++ {
			out = append(out, &raft.Log{Index: i, Term: term, Type: raft.LogCommand, Data: []byte("x")})
		}
		return out
	}
	s := &staging{Log: log}
	if err := s.StoreLogs(entries(1, 1, 5)); err != nil {
		t.Fatal(err)
	}
	s.full.Store(true)
	if err := s.DeleteRange(4, 5); !errors.Is(err, ErrDiskFull) {
		t.Errorf("a tail was cut off on a full disk: %v", err)
	}
	if err := s.StoreLogs(entries(2, 6, 6)); !errors.Is(err, ErrDiskFull) {
		t.Errorf("written on a full disk: %v", err)
	}
	if last, err := log.LastIndex(); err != nil || last != 5 {
		t.Errorf("the log ends at %d: %v", last, err)
	}
	// It becomes full between the two.
	s.full.Store(false)
	if err := s.DeleteRange(4, 5); err != nil {
		t.Fatal(err)
	}
	s.full.Store(true)
	if err := s.StoreLogs(entries(2, 4, 4)); err != nil {
		t.Errorf("the write in the place of a tail was refused: %v", err)
	}
	if err := s.StoreLogs(entries(2, 5, 5)); !errors.Is(err, ErrDiskFull) {
		t.Errorf("written on a full disk: %v", err)
	}
}
