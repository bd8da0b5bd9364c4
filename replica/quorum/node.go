package quorum

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/ledger"
	"yardhasp/replica/store"
)

// Config is what a Node needs. Every field is required except Floor, BeforeWrite and Fetch.
type Config struct {
	// ID is this replica's own, the fingerprint of its key. No other disk ever uses
	// it. Yard is its raft address.
	ID, Yard  string
	Dir       string
	Log       *store.Log
	History   *store.History
	Transport raft.Transport
	Timers    Timers
	// Floor is the raft index that the last journal record rests on. Entries up to it
	// were applied here, so they are committed (decisions.md 11).
	Floor uint64
	// Checked remembers the signatures that this replica has checked.
	Checked *ledger.Verified
	// Roots records the roots that the state goes through.
	Roots *Roots
	// OnChange is called after each applied entry; it must not block.
	OnChange func()
	// Halt is called once, with the error that stops the replica.
	Halt func(error)
	// BeforeWrite, when set, is called before each write of the log.
	BeforeWrite func()
	// Now is the clock that stamps entries while this replica leads.
	Now func() time.Time
	// Fetch reads entries [from, to) of the history from another replica.
	Fetch  func(ctx context.Context, from, to uint64, fn func(index uint64, entry []byte) error) error
	Logger *slog.Logger
}

// Node is one replica's part in the quorum.
type Node struct {
	cfg    Config
	raft   *raft.Raft
	fsm    *fsm
	intake chan *proposal
	ctx    context.Context
	cancel context.CancelFunc
	wg     sync.WaitGroup

	disk      *staging
	ready     atomic.Uint64 // term in which this leader's barrier has passed; 0: none
	lastStamp int64         // owned by the coalescer
	contacts  contacts
	fault     atomic.Pointer[string] // why the history can't be completed
	unfilled  atomic.Pointer[string] // why the last try to fetch it failed
	haltOnce  sync.Once
	closeOnce sync.Once
	closeErr  error
}

// Open starts a node from its disk.
func Open(cfg Config) (*Node, error) {
	n := &Node{cfg: cfg, intake: make(chan *proposal, 1024)}
	n.ctx, n.cancel = context.WithCancel(context.Background())
	n.contacts.failing = map[string]time.Time{}
	n.fsm = &fsm{state: ledger.New(), changed: make(chan struct{}), history: cfg.History, checked: cfg.Checked, roots: cfg.Roots, onChange: cfg.OnChange,
		halt: func(err error) { n.haltOnce.Do(func() { cfg.Halt(err) }) }, stop: make(chan struct{})}
	snaps, err := raft.NewFileSnapshotStoreWithLogger(cfg.Dir, 2, Hclog(cfg.Logger))
	if err != nil {
		return nil, fmt.Errorf("snapshots can't be kept: %w", err)
	}
	rc := cfg.Timers.config(raft.ServerID(cfg.ID))
	rc.Logger = Hclog(cfg.Logger)
	notify := make(chan bool, 16)
	rc.NotifyCh = notify
	if err := n.fsm.recover(snaps, cfg.Log, cfg.Floor); err != nil {
		return nil, err
	}
	n.disk = &staging{Log: cfg.Log, before: cfg.BeforeWrite}
	trans, ok := cfg.Transport.(transport)
	if !ok {
		return nil, errors.New("consensus can't start: the transport has no pre-vote, or can't be closed")
	}
	keep := &retaining{transport: trans, out: make(chan raft.RPC)}
	if n.raft, err = raft.NewRaft(rc, n.fsm, n.disk, cfg.Log, &guarded{snaps, n.disk}, keep); err != nil {
		return nil, fmt.Errorf("consensus can't start: %w", err)
	}
	n.disk.raft.Store(n.raft)
	n.wg.Go(func() { n.retain(keep) })
	n.wg.Go(func() { n.lead(notify) })
	n.wg.Go(n.coalesce)
	n.wg.Go(n.fill)
	n.wg.Go(n.watch)
	n.observe()
	return n, nil
}

// Bootstrap writes the first configuration: this replica alone. It is only for the
// first yard of a new ledger.
func (n *Node) Bootstrap() error {
	err := n.raft.BootstrapCluster(raft.Configuration{Servers: []raft.Server{{
		Suffrage: raft.Voter, ID: raft.ServerID(n.cfg.ID), Address: raft.ServerAddress(n.cfg.Yard)}}}).Error()
	if errors.Is(err, raft.ErrCantBootstrap) {
		return nil
	}
	return err
}

// HandOver gives the leadership to another voter. It does nothing if this replica does
// not lead. It waits for a limited time and looks only at the outcome: raft may never
// answer a transfer, not even when raft stops (libraries.md R2).
func (n *Node) HandOver() {
	if n.raft.State() != raft.Leader || n.Members().Voters < 2 {
		return
	}
	n.raft.LeadershipTransfer()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	late := time.NewTimer(min(2*time.Second, 2*n.cfg.Timers.Election))
	defer late.Stop()
	for n.raft.State() == raft.Leader {
		select {
		case <-tick.C:
		case <-late.C:
			return
		case <-n.ctx.Done():
			return
		}
	}
}

// Close stops the node. A second call waits for the first.
func (n *Node) Close() error {
	n.closeOnce.Do(func() {
		n.cancel()
		close(n.fsm.stop)
		n.closeErr = n.raft.Shutdown().Error()
		n.wg.Wait()
	})
	return n.closeErr
}

// await runs fn and waits for it until ctx ends. fn may never return: raft's futures
// have no deadline of their own, and some are never answered once raft shuts down
// (libraries.md R3, R5).
func await(ctx context.Context, fn func() error) error {
	done := make(chan error, 1)
	go func() { done <- fn() }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// View calls fn with the applied state and its raft index. fn must not change the
// state. The caller must not keep it after fn returns.
func (n *Node) View(fn func(s *ledger.State, raftIndex uint64)) {
	n.fsm.mu.RLock()
	defer n.fsm.mu.RUnlock()
	fn(n.fsm.state, n.fsm.applied)
}

// Changed returns a channel that closes at the next change of the state.
func (n *Node) Changed() <-chan struct{} {
	n.fsm.mu.RLock()
	defer n.fsm.mu.RUnlock()
	return n.fsm.changed
}

// WaitApplied waits until everything up to the raft index has been applied to the
// state.
func (n *Node) WaitApplied(ctx context.Context, index uint64) error {
	var tick *time.Ticker
	for {
		n.fsm.mu.RLock()
		applied, ch := n.fsm.applied, n.fsm.changed
		n.fsm.mu.RUnlock()
		if applied >= index || n.raft.CommitIndex() >= index && n.noCommands(applied+1, index) {
			return nil
		}
		if tick == nil {
			tick = time.NewTicker(2 * time.Millisecond)
			defer tick.Stop()
		}
		select {
		case <-ch:
		case <-tick.C: // raft's own entries wake no waiter
		case <-ctx.Done():
			return ctx.Err()
		case <-n.ctx.Done():
			return raft.ErrRaftShutdown
		}
	}
}

// noCommands reports whether the committed entries [from, to] are all raft's own:
// no-ops, barriers and configurations. The state never sees these. Entries that a
// snapshot replaced are in the state already.
func (n *Node) noCommands(from, to uint64) bool {
	first, err := n.cfg.Log.FirstIndex()
	if err != nil {
		return false
	}
	if last, err := n.cfg.Log.LastIndex(); err != nil || last == 0 {
		return err == nil // the snapshot holds everything
	}
	for i := max(from, first); i <= to; i++ {
		var l raft.Log
		if err := n.cfg.Log.GetLog(i, &l); err != nil || l.Type == raft.LogCommand {
			return false
		}
	}
	return true
}

// LeaderYard names the yard whose replica leads, "" when no leader is known.
func (n *Node) LeaderYard() string {
	addr, _ := n.raft.LeaderWithID()
	return string(addr)
}

// IsLeader reports whether this replica leads and has passed its barrier.
func (n *Node) IsLeader() bool {
	return !n.fsm.dead.Load() && !n.disk.full.Load() && n.raft.State() == raft.Leader && n.ready.Load() == n.raft.CurrentTerm()
}

// HistoryBehind reports whether the history still lacks entries that a snapshot
// skipped.
func (n *Node) HistoryBehind() bool { return n.fsm.behind.Load() }

// HistoryFault says why the history can't be completed or read, "" when no fault is
// known.
func (n *Node) HistoryFault() string {
	if p := n.fault.Load(); p != nil {
		return *p
	}
	return ""
}

// Faulty notes that some part of the history can't be read. The first fault stays.
func (n *Node) Faulty(why string) { n.fault.CompareAndSwap(nil, &why) }
