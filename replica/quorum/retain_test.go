package quorum

import (
	"bytes"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/ledger"
)

// fakeLeader sends a lone follower what a leader of term 2 might.
type fakeLeader struct {
	t    *testing.T
	wire *raft.InmemTransport
	head raft.RPCHeader
}

func newFakeLeader(t *testing.T, f *paperNode) *fakeLeader {
	_, wire := raft.NewInmemTransportWithTimeout("leader", time.Second)
	wire.Connect("f", f.wire)
	f.wire.Connect("leader", wire)
	return &fakeLeader{t, wire, raft.RPCHeader{ProtocolVersion: raft.ProtocolVersionMax, ID: []byte("leader"), Addr: []byte("leader")}}
}

// entries are those of term 1 up to index 5, of term 2 behind it.
func (f *fakeLeader) entries(from, to uint64) (out []*raft.Log) {
	for i := from; i <= to; i++ {
		term := uint64(2)
		if i <= 5 {
			term = 1
		}
		out = append(out, &raft.Log{Index: i, Term: term, Type: raft.LogCommand, Data: batch(f.t, nil, ledger.DirectEntry([]byte("later")))})
	}
	return out
}

func (f *fakeLeader) add(prev, prevTerm, commit uint64, es ...*raft.Log) bool {
	f.t.Helper()
	var resp raft.AppendEntriesResponse
	if err := f.wire.AppendEntries("f", "f", &raft.AppendEntriesRequest{RPCHeader: f.head, Term: 2, PrevLogEntry: prev, PrevLogTerm: prevTerm, Entries: es, LeaderCommitIndex: commit}, &resp); err != nil {
		f.t.Fatal(err)
	}
	return resp.Success
}

// TestNoTailIsCommitted: a follower commits no entry that the leader has not shown to
// match, though the leader's commit index is beyond it (figure 2, AppendEntries,
// receiver step 5); its uncommitted tail is replaced.
func TestNoTailIsCommitted(t *testing.T) {
	for name, first := range map[string]uint64{"the log is whole": 1, "the log begins at 5": 5} {
		synctest.Test(t, func(t *testing.T) {
			p := newPaper(t, 2, server{"f", []uint64{1, 1, 1, 1, 1, 1, 1}, lazy}, server{"leader", nil, lazy})
			f := p.start("f")
			l := newFakeLeader(t, f)
			l.add(5, 1, 5)
			synctest.Wait()
			if first > 1 {
				if err := f.log.DeleteRange(1, first-1); err != nil {
					t.Fatal(err)
				}
			}
			if !l.add(2, 1, 7, l.entries(3, 4)...) {
				t.Errorf("%s: entries that it has are refused", name)
			}
			synctest.Wait()
			if got := f.raft.AppliedIndex(); got != 5 {
				t.Errorf("%s: %d entries are applied, of which the leader has shown 5", name, got)
			}
			if !l.add(5, 1, 7, l.entries(6, 7)...) {
				t.Errorf("%s: the leader's own entries are refused", name)
			}
			synctest.Wait()
			var e raft.Log
			if err := f.log.GetLog(7, &e); err != nil || e.Term != 2 || f.raft.AppliedIndex() != 7 {
				t.Errorf("%s: entry 7 is of term %d, applied %d: %v", name, e.Term, f.raft.AppliedIndex(), err)
			}
		})
	}
}

// TestOldSnapshotIsNotInstalled: a follower that acknowledged entries keeps them when
// a leader sends it a snapshot of earlier ones, and goes on from there, also where its
// log begins behind the snapshot (figure 13, receiver step 6; figure 3, Leader
// Completeness). What it does not have it installs.
func TestOldSnapshotIsNotInstalled(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newPaper(t, 2, server{"f", []uint64{1, 1, 1, 1, 1}, lazy}, server{"leader", nil, lazy})
		f := p.start("f")
		l := newFakeLeader(t, f)
		add, entries, leader, head := l.add, l.entries, l.wire, l.head
		install := func(term, index, of uint64) (bool, error) {
			var resp raft.InstallSnapshotResponse
			err := leader.InstallSnapshot("f", "f", &raft.InstallSnapshotRequest{RPCHeader: head, SnapshotVersion: 1, Term: term, LastLogIndex: index, LastLogTerm: of, Size: 4,
				Configuration: raft.EncodeConfiguration(raft.Configuration{Servers: []raft.Server{{ID: "f", Address: "f"}}})}, &resp, strings.NewReader("none"))
			return resp.Success, err
		}
		last := func() uint64 { n, _ := f.log.LastIndex(); return n }
		if !add(5, 1, 5, entries(6, 7)...) {
			t.Fatal("the first entries are not taken")
		}
		synctest.Wait()
		for _, index := range []uint64{3, 5} {
			if ok, err := install(2, index, 1); !ok || err != nil || last() != 7 {
				t.Errorf("a snapshot up to %d: success %v, %v; the log ends at %d, acknowledged up to 7", index, ok, err, last())
			}
		}
		if ok, _ := install(2, 7, 2); !ok || last() != 7 {
			t.Errorf("a snapshot up to an entry of the log, not committed yet: %v, the log ends at %d", ok, last())
		}
		// A later term's: not installed either, and not called a success.
		if ok, err := install(3, 5, 1); ok || err != nil || last() != 7 {
			t.Errorf("of a later term: success %v, %v; the log ends at %d", ok, err, last())
		}
		// Its log begins at 5 now; the leader goes on from where its snapshot ended.
		if err := f.log.DeleteRange(1, 4); err != nil {
			t.Fatal(err)
		}
		if !add(2, 1, 7, entries(3, 8)...) || last() != 8 {
			t.Errorf("entries that begin before its log: the log ends at %d", last())
		}
		if !add(3, 1, 8) {
			t.Error("a call without entries, compared with one that it no longer has, fails")
		}
		// One that does not match, above what is committed, is still refused.
		if add(9, 2, 8, entries(10, 10)...) || last() != 8 {
			t.Errorf("an entry after a gap: the log ends at %d", last())
		}
		// And what it does not have is installed, or fails as what it is.
		if ok, err := install(2, 20, 2); ok || err == nil {
			t.Errorf("a damaged snapshot of what it lacks: success %v, %v", ok, err)
		}
	})
}

// TestTailBehindASnapshot: raft 1.8.0 forgets to forget a tail that it throws away for
// a snapshot, and takes no entry ever after (its issue 697, another end of it). The
// replica stops, to be started again, and doesn't stand there as if it were well.
func TestTailBehindASnapshot(t *testing.T) {
	other, _ := open(t)
	other.Apply(&raft.Log{Index: 5, Type: raft.LogCommand, Data: batch(t, nil, ledger.DirectEntry([]byte("of another leader")))})
	s, err := other.Snapshot()
	if err != nil {
		t.Fatal(err)
	}
	var saved memorySink
	if err := s.Persist(&saved); err != nil {
		t.Fatal(err)
	}
	for tail, stops := range map[int]bool{5: false, 6: true, 8: true} {
		synctest.Test(t, func(t *testing.T) {
			terms := []uint64{1, 1, 1, 1, 1, 1, 1, 1}
			p := newPaper(t, 2, server{"f", terms[:tail], lazy}, server{"leader", nil, lazy})
			p.stops = make(chan error, 1)
			f := p.start("f")
			l := newFakeLeader(t, f)
			var resp raft.InstallSnapshotResponse
			if err := l.wire.InstallSnapshot("f", "f", &raft.InstallSnapshotRequest{RPCHeader: l.head, SnapshotVersion: 1, Term: 2, LastLogIndex: 5, LastLogTerm: 2, Size: int64(saved.Len()),
				Configuration: raft.EncodeConfiguration(raft.Configuration{Servers: []raft.Server{{ID: "f", Address: "f"}, {ID: "leader", Address: "leader"}}})}, &resp, bytes.NewReader(saved.Bytes())); err != nil || !resp.Success {
				t.Fatalf("%d entries, and a snapshot of 5 of another term: %v %v", tail, resp.Success, err)
			}
			var ar raft.AppendEntriesResponse
			err := l.wire.AppendEntries("f", "f", &raft.AppendEntriesRequest{RPCHeader: l.head, Term: 2, PrevLogEntry: 5, PrevLogTerm: 2, Entries: l.entries(6, 6), LeaderCommitIndex: 6}, &ar)
			synctest.Wait()
			select {
			case why := <-p.stops:
				if !stops || !strings.Contains(why.Error(), "start the replica again") {
					t.Errorf("%d entries: it stops: %v", tail, why)
				}
			default:
				if stops || err != nil || !ar.Success || f.raft.AppliedIndex() != 6 {
					t.Errorf("%d entries: it goes on; entry 6 is taken: %v %v, applied %d", tail, ar.Success, err, f.raft.AppliedIndex())
				}
			}
		})
	}
}
