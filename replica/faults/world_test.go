package faults_test

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"math/rand"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"

	"yardhasp/client"
	"yardhasp/replica"
	"yardhasp/replica/quorum"
)

// yards are the three of every scenario; the newcomer joins in the middle of some.
var yards = []string{"stonebend", "millrow", "eastfork"}

const newcomer = "elmside"

// Free space on a disk, in MB: what there is, and where the replica takes care.
const plenty, low, full = 1000, 200, 50

// world is three whole replicas on one network in memory, and what happened there.
type world struct {
	t      testing.TB
	rng    *rand.Rand // of the scenario's plan, used by one goroutine only
	net    *network
	root   string // of this world's files
	id     []byte
	known  []client.Yard
	story  *story
	clocks map[string]*atomic.Int64 // how far each yard's clock is off, in ns

	mu       sync.Mutex
	dirs     map[string]string
	up       map[string]*replica.Replica
	closing  sync.WaitGroup // what is left of crashed replicas
	waits    sync.WaitGroup // who watch replicas that are up
	restarts sync.WaitGroup // restarts to come
	broken   error          // why a restart failed
	gone     map[string]chan struct{}
	dead     map[string]*atomic.Bool // of the running replica: it crashed and reaches nobody any more
	lives    int
	copies   int
	wrongs   []string // what a told scenario expected otherwise
	raws     map[string]*grpc.ClientConn
	free     map[string]*atomic.Uint64 // of each yard's disk, in MB
	timers   *quorum.Timers
	slowed   map[string]*atomic.Int64 // by how much each write of a yard's disk waits, in ns
	synced   map[string]string        // a copy of each yard's history as it was when the yard started
	halts    int                      // replicas that stopped by themselves
	loses    string                   // a yard whose disk is lost in the middle
	lost     string                   // the same, once it is
	grows    bool                     // a newcomer joins in the middle
	grown    bool                     // the newcomer has a replica
}

var errCrashed = errors.New("the machine is off")

func newWorld(t testing.TB, rng *rand.Rand) *world {
	w := &world{t: t, rng: rng, net: newNetwork(), root: t.TempDir(), story: newStory(), clocks: map[string]*atomic.Int64{},
		dirs: map[string]string{}, up: map[string]*replica.Replica{}, gone: map[string]chan struct{}{}, dead: map[string]*atomic.Bool{}, raws: map[string]*grpc.ClientConn{}, free: map[string]*atomic.Uint64{},
		slowed: map[string]*atomic.Int64{}, synced: map[string]string{}}
	for _, y := range append([]string{newcomer}, yards...) {
		w.clocks[y], w.free[y], w.slowed[y] = &atomic.Int64{}, &atomic.Uint64{}, &atomic.Int64{}
		w.free[y].Store(plenty)
	}
	return w
}

// all names the yards that have a replica.
func (w *world) all() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.grown {
		return append(slices.Clone(yards), newcomer)
	}
	return yards
}

func testKey(name string) ed25519.PrivateKey {
	h := sha256.Sum256([]byte("faults test " + name))
	return ed25519.NewKeyFromSeed(h[:])
}

func public(k ed25519.PrivateKey) []byte { return k.Public().(ed25519.PublicKey) }

// start opens a yard's replica on its directory.
func (w *world) start(yard string) error {
	clock := w.clocks[yard]
	var log *slog.Logger
	if os.Getenv("YARDHASP_TEST_LOG") != "" {
		log = slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelDebug})).With("yard", yard)
	}
	if err := w.keepHistory(yard); err != nil {
		return err
	}
	p := w.net.listen(yard)
	dead := &atomic.Bool{}
	r, err := replica.Open(replica.Config{Dir: w.dirs[yard], Listener: p, Logger: log, Timers: w.timers,
		Disk: &replica.DiskLimits{Low: low << 20, Full: full << 20, Ballast: 64 << 10},
		Free: func(string) (uint64, error) { return w.free[yard].Load() << 20, nil },
		Now:  func() time.Time { return time.Now().Add(time.Duration(clock.Load())) },
		BeforeWrite: func() {
			if d := w.slowed[yard].Load(); d > 0 {
				pass(time.Duration(d))
			}
		},
		Dial: func(ctx context.Context, _, address string) (net.Conn, error) {
			c, err := w.net.dial(ctx, yard, address)
			if err == nil && dead.Load() {
				err = errors.Join(errCrashed, c.Close())
			}
			if err != nil {
				return nil, err
			}
			return c, nil
		}})
	if err != nil {
		return errors.Join(fmt.Errorf("%s does not start: %w", yard, err), p.Close())
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.up[yard] = r
	gone := make(chan struct{})
	w.gone[yard], w.dead[yard] = gone, dead
	w.waits.Go(func() { w.revive(yard, r, gone) })
	return nil
}

// revive starts a replica again that stopped by itself and asks for a start, as a
// service manager would.
func (w *world) revive(yard string, r *replica.Replica, gone chan struct{}) {
	select {
	case <-gone:
		return
	case why := <-r.Halted():
		w.story.tell("%s stops by itself: %v", yard, why)
	}
	w.mu.Lock()
	if w.up[yard] != r {
		w.mu.Unlock()
		return
	}
	delete(w.up, yard)
	w.halts++
	w.restarts.Add(1)
	defer w.restarts.Done()
	w.mu.Unlock()
	w.net.kill(yard)
	err := errors.Join(r.Close(), w.start(yard))
	for try := 0; err != nil && strings.Contains(err.Error(), "free some space") && try < 60; try++ {
		pass(2 * time.Second) // a service manager tries again until the disk has room
		err = w.start(yard)
	}
	if err != nil {
		w.mu.Lock()
		w.broken = errors.Join(w.broken, err)
		w.mu.Unlock()
	}
}

func (w *world) take(yard string) *replica.Replica {
	w.mu.Lock()
	defer w.mu.Unlock()
	r := w.up[yard]
	delete(w.up, yard)
	if r != nil {
		close(w.gone[yard])
	}
	return r
}

// stop closes a yard's replica as an operator would.
func (w *world) stop(yard string) error {
	r := w.take(yard)
	if r == nil {
		return nil
	}
	return r.Close()
}

// crash ends a yard's replica at this instant: its disk is what it is now, and
// nothing that it says from now on reaches anybody. Call it while every other
// goroutine of the bubble waits (synctest.Wait), so that the disk stands still.
//
// With forget the history falls back to what it was when the yard started: it is
// written without syncs, and what raft's log still has comes again from there.
func (w *world) crash(yard string, forget bool) error {
	r := w.take(yard)
	if r == nil {
		return nil
	}
	w.lives++
	dir := filepath.Join(w.root, fmt.Sprintf("%s-%d", yard, w.lives))
	err := copyDir(dir, w.dirs[yard])
	if old := w.synced[yard]; forget && old != "" {
		to := filepath.Join(dir, historyName)
		err = errors.Join(err, os.RemoveAll(to), copyDir(to, old))
	}
	w.mu.Lock()
	w.dead[yard].Store(true) // or what is left of it would lead on once the yard is back
	w.mu.Unlock()
	w.net.kill(yard)
	old := w.dirs[yard]
	w.dirs[yard] = dir
	// What is left of it works on in the old directory, which nobody reads again.
	w.closing.Go(func() {
		_ = r.Close()
		_ = os.RemoveAll(old)
	})
	return err
}

// end closes everything.
func (w *world) end() {
	for _, y := range w.all() {
		r := w.take(y) // before its port goes, which would make it stop by itself
		w.net.kill(y)
		if r != nil {
			w.closing.Go(func() { _ = r.Close() })
		}
	}
	for _, c := range w.raws {
		_ = c.Close()
	}
	done := make(chan struct{})
	go func() { w.waits.Wait(); w.closing.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(10 * time.Minute):
		// A bubble can't be left while anything in it runs: this ends the whole run.
		stacks := make([]byte, 4<<20)
		fmt.Fprintf(os.Stderr, "%s\n%s\n", w.story, stacks[:runtime.Stack(stacks, true)])
		panic("a replica does not stop; its story and what it waits for are above")
	}
}

const historyName = "history"

// keepHistory copies the history before a start. Snapshots sync it, so with them
// it can't fall back that far.
func (w *world) keepHistory(yard string) error {
	from := filepath.Join(w.dirs[yard], historyName)
	if _, err := os.Stat(from); w.timers != nil || err != nil {
		return nil
	}
	w.mu.Lock()
	w.copies++
	to := filepath.Join(w.root, fmt.Sprintf("history-%s-%d", yard, w.copies))
	old := w.synced[yard]
	w.synced[yard] = to
	w.mu.Unlock()
	return errors.Join(copyDir(to, from), os.RemoveAll(old))
}

// copyDir copies a directory; what is empty stays a hole.
func copyDir(to, from string) error {
	return filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, path)
		if err != nil {
			return err
		}
		dst := filepath.Join(to, rel)
		switch {
		case d.IsDir():
			return os.MkdirAll(dst, 0o700)
		case d.Name() == "LOCK" || d.Name() == "journal.lock":
			return nil
		}
		return copyFile(dst, path)
	})
}

func copyFile(to, from string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	info, err := in.Stat()
	if err != nil {
		return err
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, info.Mode())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	if err := out.Truncate(info.Size()); err != nil {
		return err
	}
	var zero, b [64 << 10]byte
	for off := int64(0); ; {
		// A hole is skipped where the system can tell (Linux: SEEK_DATA is 3).
		if next, err := in.Seek(off, 3); err == nil {
			off = next
		} else if off, err = in.Seek(off, io.SeekStart); err != nil {
			return err
		}
		n, err := in.ReadAt(b[:], off)
		if n > 0 && b != zero {
			if _, err := out.WriteAt(b[:n], off); err != nil {
				return err
			}
		}
		off += int64(n)
		if off >= info.Size() || n == 0 || err == io.EOF {
			return nil
		}
		clear(b[:])
		if err != nil {
			return err
		}
	}
}

// as is a client of a person who sits at a yard.
func (w *world) as(person, yard, device string) *client.Client {
	profile := &client.Profile{Ledger: w.id, Person: person, Key: "-", Yard: yard, Device: "test", Yards: w.known}
	k, err := client.New(profile, testKey(person), client.NewMemoryTickets(device), client.WithConnectTimeout(2*time.Second),
		client.WithDialer(func(ctx context.Context, address string) (net.Conn, error) { return w.net.dial(ctx, yard, address) }))
	if err != nil {
		panic(err) // a mistake of the test itself
	}
	return k
}
