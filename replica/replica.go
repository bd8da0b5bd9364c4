package replica

import (
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/hashicorp/raft"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"

	"yardhasp/client/keys"
	"yardhasp/client/pin"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
	"yardhasp/replica/store"
)

const maxMessage = 16 << 20

// quickBackoff says how soon a connection to another yard is tried again: soon at
// first, and never more than a few seconds apart. So a mended link is found quickly.
var quickBackoff = backoff.Config{BaseDelay: 100 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: 3 * time.Second}

// Config is how a replica is opened. Dir is required.
type Config struct {
	Dir string
	// Listen, when set, is used instead of the address in the settings.
	Listen string
	Logger *slog.Logger
	// Now is the yard's clock.
	Now func() time.Time
	// Listener, when set, is used instead of opening a port.
	Listener net.Listener
	// Dial, when set, makes the connections to other yards, for raft and for gRPC. TLS
	// runs on top of them.
	Dial func(ctx context.Context, yard, address string) (net.Conn, error)
	// Disk, when set, is used instead of the built-in limits. Free, when set, gives
	// the free bytes instead of the system.
	Disk *DiskLimits
	Free func(dir string) (uint64, error)
	// BeforeWrite, when set, is called before each write of raft's log. The write
	// waits until it returns.
	BeforeWrite func()
	// Timers, when set, are used instead of the profile of the settings.
	Timers *quorum.Timers
}

// Replica is the running node of one yard.
type Replica struct {
	dir    string
	set    *Settings
	key    ed25519.PrivateKey
	timers quorum.Timers
	log    *slog.Logger
	now    func() time.Time

	disk      *disk
	directory *directory
	peers     *peers
	raftLog   *store.Log
	history   *store.History
	node      *quorum.Node
	yard      *driver

	mux    *pin.Mux
	grpc   *grpc.Server
	checks *health.Server
	addr   net.Addr

	ctx     context.Context
	cancel  context.CancelFunc
	wg      sync.WaitGroup
	halted  chan error
	kick    chan struct{} // the state changed
	tell    chan struct{} // a divergence was noticed
	roots   quorum.Roots
	checked ledger.Verified
	// strangers bounds how many unknown keys may have the quorum asked at a time.
	strangers chan struct{}
	wire      *streams
	stopped   atomic.Bool // by itself, not by Close: see Halted
	closeOnce sync.Once
	closeErr  error

	mu           sync.Mutex
	confirmedAt  int64
	ledAt        time.Time // when a leader was last known; at first, when this replica was opened
	lastContacts []*recordv1.YardContact
	alarm        *recordv1.Finding // the finding for divergences
	divergences  []divergence      // see divergence.go
	evidence     sync.Mutex        // held while evidence is written; taken before mu
}

// Open starts the replica of a data directory.
func Open(c Config) (_ *Replica, err error) {
	r, err := fromDirectory(c)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			r.cancel()
			r.closeStores()
		}
	}()
	if err = r.openStores(&c); err != nil {
		return nil, err
	}
	l, err := r.listen(&c)
	if err != nil {
		return nil, err
	}
	if err = r.openNode(&c, l); err != nil {
		return nil, err
	}
	r.serve()
	r.wg.Go(r.yard.run)
	r.wg.Go(r.duties)
	r.wg.Go(r.watchDisk)
	r.wg.Go(r.compareRoots)
	r.moved()
	return r, nil
}

// fromDirectory reads which replica this is. It opens nothing.
func fromDirectory(c Config) (*Replica, error) {
	set, err := ReadSettings(c.Dir)
	if err != nil {
		return nil, err
	}
	key, err := keys.Read(filepath.Join(c.Dir, "replica.key"), nil)
	if err != nil {
		return nil, err
	}
	r := &Replica{dir: c.Dir, set: set, key: key, timers: quorum.Profiles[set.Timers], log: c.Logger, now: c.Now,
		halted: make(chan error, 1), ledAt: time.Now(), kick: make(chan struct{}, 1), tell: make(chan struct{}, 1), strangers: make(chan struct{}, 2)}
	if c.Timers != nil {
		r.timers = *c.Timers
	}
	if r.log == nil {
		r.log = slog.New(slog.DiscardHandler)
	}
	if r.now == nil {
		r.now = time.Now
	}
	r.ctx, r.cancel = context.WithCancel(context.Background())
	return r, nil
}

// openStores checks that no part of the data directory is missing, and opens all of
// it.
func (r *Replica) openStores(c *Config) (err error) {
	if err = r.checkFounding(); err != nil {
		return err
	}
	if err = r.checkWhole(); err != nil {
		return err
	}
	if r.directory, err = openDirectory(c.Dir); err != nil {
		return fmt.Errorf("peers.json can't be read: %w", err)
	}
	r.peers = newPeers(r.key, r.directory, c.Dial)
	if err = r.openDisk(c); err != nil {
		return err
	}
	if r.raftLog, err = store.OpenLog(c.Dir, r.log); err != nil {
		return r.damage(PartLog, err)
	}
	if r.history, err = store.OpenHistory(c.Dir, r.log); err != nil {
		return r.damage(PartHistory, err)
	}
	if r.yard, err = openDriver(r); err != nil {
		return r.sorted(err)
	}
	if err = r.readEvidence(); err != nil {
		return err
	}
	return r.markBegun()
}

func (r *Replica) listen(c *Config) (net.Listener, error) {
	l := c.Listener
	if l == nil {
		at := r.set.Listen
		if c.Listen != "" {
			at = c.Listen
		}
		var err error
		if l, err = net.Listen("tcp", at); err != nil {
			return nil, fmt.Errorf("can't listen on %s: %w", at, err)
		}
	}
	r.addr = l.Addr()
	return l, nil
}

// openNode starts raft on the listener. If that fails, it closes the listener. A
// founder's raft begins with this replica as its only voter.
func (r *Replica) openNode(c *Config, l net.Listener) (err error) {
	r.mux = pin.NewMux(l, pin.ServerConfig(r.key, nil, pin.ALPNClient, pin.ALPNPeer))
	r.wire = newStreams(r.mux.Listener(pin.ALPNPeer), r.set.Yard, r.key, r.directory, c.Dial)
	trans := &patient{raft.NewNetworkTransportWithConfig(&raft.NetworkTransportConfig{
		Stream:  r.wire,
		MaxPool: 3, MaxRPCsInFlight: r.timers.MaxInFlight, Timeout: r.timers.Dial,
		Logger: quorum.Hclog(r.log), MsgpackUseNewTimeFormat: true})}
	r.node, err = quorum.Open(quorum.Config{ID: seal.Fingerprint(r.key.Public().(ed25519.PublicKey)), Yard: r.set.Yard, Dir: c.Dir,
		Log: r.raftLog, History: r.history, Transport: newReaching(r.wire.ctx, trans), Timers: r.timers, Floor: r.yard.floor(), Checked: &r.checked, Roots: &r.roots,
		OnChange: r.moved, Halt: r.halt, Now: r.now, BeforeWrite: c.BeforeWrite, Fetch: r.fetch, Logger: r.log})
	if err != nil {
		r.wire.cut()
		return errors.Join(r.sorted(err), trans.Close(), l.Close())
	}
	if r.set.Founder {
		if err = r.node.Bootstrap(); err != nil {
			r.wire.cut()
			return errors.Join(err, r.node.Close(), l.Close())
		}
	}
	return nil
}

// Settings says which yard and ledger this is.
func (r *Replica) Settings() Settings { return *r.set }

// Addr is where the replica listens.
func (r *Replica) Addr() net.Addr { return r.addr }

// Halted delivers the error that stops the replica by itself, such as an entry from a
// newer release.
func (r *Replica) Halted() <-chan error { return r.halted }

// Key is the replica's public key.
func (r *Replica) Key() ed25519.PublicKey { return r.key.Public().(ed25519.PublicKey) }

func (r *Replica) halt(err error) {
	err = r.sorted(err)
	r.log.Error("this replica stops", "err", err)
	r.stopped.Store(true)
	select {
	case r.halted <- err:
	default:
	}
}

// moved tells everybody who watches that the state changed. It never blocks.
func (r *Replica) moved() {
	select {
	case r.kick <- struct{}{}:
	default:
	}
	if r.yard != nil {
		r.yard.poke()
	}
}

func (r *Replica) serve() {
	r.grpc = grpc.NewServer(grpc.Creds(pin.GRPCServerCreds()), grpc.UnaryInterceptor(r.unary), grpc.StreamInterceptor(r.stream),
		grpc.MaxRecvMsgSize(maxMessage), grpc.MaxSendMsgSize(maxMessage), grpc.WaitForHandlers(true),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{MinTime: 20 * time.Second, PermitWithoutStream: true}))
	servicev1.RegisterLedgerServiceServer(r.grpc, &ledgerServer{r: r})
	servicev1.RegisterMembershipServiceServer(r.grpc, &memberServer{r: r})
	servicev1.RegisterPeerServiceServer(r.grpc, &peerServer{r: r})
	r.checks = health.NewServer()
	grpc_health_v1.RegisterHealthServer(r.grpc, r.checks)
	reflection.Register(r.grpc)
	gl := r.mux.Listener(pin.ALPNClient)
	r.wg.Go(func() {
		if err := r.grpc.Serve(gl); err != nil && r.ctx.Err() == nil {
			r.halt(fmt.Errorf("the server stopped: %w", err))
		}
	})
	r.wg.Go(func() {
		if err := r.mux.Serve(); err != nil && r.ctx.Err() == nil {
			r.halt(fmt.Errorf("the port stopped: %w", err))
		}
	})
}

// grace is how long a stop waits for calls under way, and then as long for handlers.
const grace = 3 * time.Second

// Close stops gracefully. It takes no new calls, ends the watches, hands the
// leadership over, and then closes the stores. A second call waits for the first.
func (r *Replica) Close() error {
	r.closeOnce.Do(func() { r.closeErr = r.close() })
	return r.closeErr
}

func (r *Replica) close() error {
	r.checks.Shutdown()
	r.cancel()
	done := make(chan struct{})
	go func() { r.grpc.GracefulStop(); close(done) }()
	r.node.HandOver()
	if !within(done, grace) {
		stopped := make(chan struct{})
		go func() { r.grpc.Stop(); close(stopped) }()
		within(stopped, grace)
	}
	r.wire.cut() // raft waits for its calls to other yards, and these may never answer
	err := r.node.Close()
	r.mux.Close()
	r.wg.Wait()
	r.peers.close()
	if r.disk.brim() {
		r.log.Warn("the disk is full: the stores are left as after a power cut, since closing them writes; nothing acknowledged is lost by it")
		return errors.Join(err, r.yard.close())
	}
	return errors.Join(err, r.closeStores())
}

func within(done <-chan struct{}, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-done:
		return true
	case <-t.C:
		return false
	}
}

func (r *Replica) closeStores() error {
	var errs []error
	if r.yard != nil {
		errs = append(errs, r.yard.close())
	}
	if r.history != nil {
		errs = append(errs, r.history.Close())
	}
	if r.raftLog != nil {
		errs = append(errs, r.raftLog.Close())
	}
	return errors.Join(errs...)
}

func (r *Replica) ledgerID() []byte {
	b, _ := hex.DecodeString(r.set.Ledger)
	return b
}

// divergence is the alarm about replicas that hold different histories, nil when there
// is none.
func (r *Replica) divergence() *recordv1.Finding {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.alarm
}

func sortedYards(s *ledger.State) []string    { return slices.Sorted(maps.Keys(s.Yards)) }
func sortedDrawings(s *ledger.State) []string { return slices.Sorted(maps.Keys(s.Drawings)) }
