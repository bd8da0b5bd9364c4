package replica

import (
	"context"
	"errors"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/hashicorp/raft"
)

// faraway is a follower behind a link that can be down.
type faraway struct {
	transport
	up            bool
	beats, copies int
}

func (f *faraway) AppendEntries(_ raft.ServerID, _ raft.ServerAddress, a *raft.AppendEntriesRequest, _ *raft.AppendEntriesResponse) error {
	if heartbeat(a) {
		f.beats++
	} else {
		f.copies++
	}
	if !f.up {
		return errors.New("no route")
	}
	return nil
}

func (f *faraway) InstallSnapshot(raft.ServerID, raft.ServerAddress, *raft.InstallSnapshotRequest, *raft.InstallSnapshotResponse, io.Reader) error {
	f.copies++
	return nil
}

func beat(term uint64) *raft.AppendEntriesRequest { return &raft.AppendEntriesRequest{Term: term} }
func copyOf(term uint64) *raft.AppendEntriesRequest {
	return &raft.AppendEntriesRequest{Term: term, PrevLogEntry: 7, PrevLogTerm: 1}
}

// TestCopyWaitsForTheHeartbeat: raft tries a copy to a yard that is away once, and
// again as soon as a heartbeat gets through, however long it was away; never
// before. Its own rest between failed copies grows to ten seconds
// (hashicorp/raft 1.8.0, replication.go: failureWait and maxFailureScale).
func TestCopyWaitsForTheHeartbeat(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		f := &faraway{}
		ctx, cancel := context.WithCancel(t.Context())
		r := newReaching(ctx, f)
		send := func(a *raft.AppendEntriesRequest) error {
			return r.AppendEntries("id", "millrow", a, &raft.AppendEntriesResponse{})
		}
		if send(copyOf(1)) == nil {
			t.Fatal("a copy got through a dead link")
		}
		done := make(chan error, 4)
		go func() { done <- send(copyOf(1)) }()
		go func() {
			done <- r.InstallSnapshot("id", "millrow", &raft.InstallSnapshotRequest{Term: 1}, &raft.InstallSnapshotResponse{}, nil)
		}()
		for range 1000 { // a long time away, in the bubble's time
			time.Sleep(time.Second)
			if send(beat(1)) == nil {
				t.Fatal("a heartbeat got through a dead link")
			}
		}
		if f.copies != 1 || f.beats != 1000 {
			t.Fatalf("%d copies and %d heartbeats were tried while the yard was away", f.copies, f.beats)
		}
		f.up = true
		back := time.Now()
		if err := send(beat(1)); err != nil {
			t.Fatal(err)
		}
		got := []error{<-done, <-done}
		if time.Since(back) > 0 || f.copies != 2 || (got[0] == nil) == (got[1] == nil) || errors.Join(got...).Error() != errAway.Error() {
			t.Errorf("after %s: %d copies, %v", time.Since(back), f.copies, got)
		}
		if err := send(copyOf(1)); err != nil || f.copies != 3 {
			t.Errorf("a copy to a yard that answers: %v, %d copies", err, f.copies)
		}

		// What waits for a leadership that is over, or for a replica that stops, ends.
		f.up = false
		_ = send(beat(1))
		go func() { done <- send(copyOf(1)) }()
		synctest.Wait()
		_ = send(beat(2))
		if err := <-done; err == nil {
			t.Error("a copy of an earlier term got through a dead link")
		}
		go func() { done <- send(copyOf(2)) }()
		synctest.Wait()
		cancel()
		<-done
	})
}
