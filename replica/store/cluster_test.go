package store_test

import (
	"fmt"
	"io"
	"testing"
	"testing/synctest"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/replica/store"
)

// lines is a state machine that remembers what it was told.
type lines struct{ told []string }

func (l *lines) Apply(e *raft.Log) any               { l.told = append(l.told, string(e.Data)); return nil }
func (l *lines) Snapshot() (raft.FSMSnapshot, error) { return nil, fmt.Errorf("no snapshots here") }
func (l *lines) Restore(io.ReadCloser) error         { return fmt.Errorf("no snapshots here") }

type member struct {
	raft  *raft.Raft
	log   *store.Log
	lines *lines
	wire  *raft.InmemTransport
}

func startMember(t *testing.T, name, dir string) member {
	t.Helper()
	l, err := store.OpenLog(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	config := raft.DefaultConfig()
	config.LocalID = raft.ServerID(name)
	config.LogOutput = io.Discard
	config.RestoreCommittedLogs = true
	_, wire := raft.NewInmemTransport(raft.ServerAddress(name))
	m := member{log: l, lines: &lines{}, wire: wire}
	if m.raft, err = raft.NewRaft(config, m.lines, l, l, raft.NewInmemSnapshotStore(), wire); err != nil {
		t.Fatal(err)
	}
	return m
}

func (m member) stop(t *testing.T) {
	t.Helper()
	if err := m.raft.Shutdown().Error(); err != nil {
		t.Error(err)
	}
	if err := m.log.Close(); err != nil {
		t.Error(err)
	}
}

// Three replicas agree on this store; one of them, started again alone, has
// its committed state from the log without anybody's help (decisions.md 11).
func TestClusterAndLoneRestart(t *testing.T) {
	dirs := map[string]string{"eastfork": t.TempDir(), "millrow": t.TempDir(), "stonebend": t.TempDir()}
	synctest.Test(t, func(t *testing.T) {
		var (
			members = map[string]member{}
			servers []raft.Server
		)
		for name, dir := range dirs {
			members[name] = startMember(t, name, dir)
			servers = append(servers, raft.Server{ID: raft.ServerID(name), Address: raft.ServerAddress(name)})
		}
		for a, from := range members {
			for b, to := range members {
				if a != b {
					from.wire.Connect(raft.ServerAddress(b), to.wire)
				}
			}
		}
		if err := members["eastfork"].raft.BootstrapCluster(raft.Configuration{Servers: servers}).Error(); err != nil {
			t.Fatal(err)
		}
		var leader member
		for range 100 { // of the bubble's time
			<-time.After(100 * time.Millisecond)
			for _, m := range members {
				if m.raft.State() == raft.Leader {
					leader = m
				}
			}
			if leader.raft != nil {
				break
			}
		}
		if leader.raft == nil {
			t.Fatal("no leader in 10 s")
		}
		const n = 200
		for i := range n {
			if err := leader.raft.Apply(fmt.Appendf(nil, "line %d", i), time.Second).Error(); err != nil {
				t.Fatal(err)
			}
		}
		<-time.After(time.Second)
		for name, m := range members {
			m.stop(t)
			if len(m.lines.told) != n {
				t.Errorf("%s was told %d lines, want %d", name, len(m.lines.told), n)
			}
		}

		alone := startMember(t, "millrow", dirs["millrow"])
		<-time.After(5 * time.Second)
		alone.stop(t)
		// The commit index of the last entry came too late to be stored with an entry.
		if got := len(alone.lines.told); got < n-1 {
			t.Errorf("alone it knows %d lines, want at least %d", got, n-1)
		}
		for i, line := range alone.lines.told {
			if line != fmt.Sprintf("line %d", i) {
				t.Errorf("line %d is %q", i, line)
			}
		}
	})
}
