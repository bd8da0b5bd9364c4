package replica_test

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"yardhasp/client"
	"yardhasp/client/token"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
	"yardhasp/replica/yard"
)

// cluster is real replicas over TLS on loopback, in this process.
type cluster struct {
	t     testing.TB
	id    []byte
	dirs  map[string]string
	up    map[string]*replica.Replica
	yards []client.Yard
	keys  map[string]ed25519.PrivateKey
	conns map[string]*client.Client

	tune   func(*replica.Config) // for replicas in this process; may be nil
	bin    string                // when set, replicas are processes of this program
	procs  map[string]*exec.Cmd
	said   []saying
	device atomic.Uint64
}

func testKey(name string) ed25519.PrivateKey {
	h := sha256.Sum256([]byte("cluster test " + name))
	return ed25519.NewKeyFromSeed(h[:])
}

func public(k ed25519.PrivateKey) []byte { return k.Public().(ed25519.PublicKey) }

// freeAddr is an address that a replica can listen on, and on again after it was
// killed: below the ports that dialling takes from, since a dial to a dead
// replica's port could take that very port for itself.
func freeAddr(t testing.TB) string {
	t.Helper()
	for range 1000 {
		addr := fmt.Sprintf("127.0.0.1:%d", 12000+(uint32(os.Getpid())*61+nextPort.Add(1))%18000)
		if l, err := net.Listen("tcp", addr); err == nil {
			l.Close()
			return addr
		}
	}
	t.Fatal("no free port was found")
	return ""
}

var nextPort atomic.Uint32

// found starts a ledger at stonebend with the manager nia.
func found(t testing.TB, how ...func(*cluster)) *cluster {
	c := &cluster{t: t, dirs: map[string]string{}, up: map[string]*replica.Replica{}, keys: map[string]ed25519.PrivateKey{"nia": testKey("nia")},
		conns: map[string]*client.Client{}, procs: map[string]*exec.Cmd{}}
	for _, h := range how {
		h(c)
	}
	dir, addr := t.TempDir(), freeAddr(t)
	id, err := replica.Found(replica.Founding{Dir: dir, Coop: "Three Forks Grain Co-op", Yard: "stonebend", YardName: "Stonebend", Listen: addr, Address: addr, Timers: "lan",
		Manager:    &recordv1.Person{Id: "nia", Name: "Nia", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR, recordv1.Role_ROLE_AUTHORISED}, Qualified: true, TrainedUntilUnixMs: time.Now().Add(time.Hour).UnixMilli()},
		ManagerKey: c.keys["nia"]}, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	c.id, c.dirs["stonebend"] = id, dir
	t.Cleanup(c.stop)
	c.learn("stonebend", addr)
	c.start("stonebend")
	return c
}

func (c *cluster) learn(yard, addr string) {
	pub, err := replica.PublicKey(c.dirs[yard])
	if err != nil {
		c.t.Fatal(err)
	}
	c.yards = append(c.yards, client.Yard{ID: yard, Name: yard, Address: addr, Key: pub})
}

func (c *cluster) start(yard string) {
	c.t.Helper()
	if c.bin != "" {
		c.run(yard)
		return
	}
	if err := c.tryStart(yard); err != nil {
		c.t.Fatal(err)
	}
}

// tryStart starts a yard in this process, or says why it does not start.
func (c *cluster) tryStart(yard string) error {
	cfg := replica.Config{Dir: c.dirs[yard], Logger: testLog(yard)}
	if c.tune != nil {
		c.tune(&cfg)
	}
	r, err := replica.Open(cfg)
	if err == nil {
		c.up[yard] = r
	}
	return err
}

func (c *cluster) halt(yard string) {
	c.t.Helper()
	if r := c.up[yard]; r != nil {
		if err := r.Close(); err != nil {
			c.t.Errorf("closing %s: %v", yard, err)
		}
		delete(c.up, yard)
	}
}

func (c *cluster) stop() {
	for _, k := range c.conns {
		k.Close()
	}
	for y := range c.procs {
		c.kill(y)
	}
	for y := range c.up {
		c.halt(y)
	}
	for _, s := range c.said {
		if c.t.Failed() && s.text.Len() > 0 {
			c.t.Logf("%s said:\n%s", s.yard, s.text)
		}
	}
}

// as is a client of a person, whose own yard is given.
func (c *cluster) as(person, yard string) *client.Client {
	c.t.Helper()
	id := person + "@" + yard
	if k := c.conns[id]; k != nil {
		return k
	}
	k, err := client.New(&client.Profile{Ledger: c.id, Person: person, Key: "-", Yard: yard, Device: "test", Yards: c.yards}, c.keys[person], client.NewMemoryTickets("test-"+person+"-"+yard))
	if err != nil {
		c.t.Fatal(err)
	}
	c.conns[id] = k
	return k
}

func (c *cluster) ctx() context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	c.t.Cleanup(cancel)
	return ctx
}

// do submits an act and fails the test when it is refused.
func (c *cluster) do(person, yard string, act *recordv1.Record) *servicev1.Receipt {
	c.t.Helper()
	rec, err := c.as(person, yard).Submit(c.ctx(), act)
	if err != nil {
		c.t.Fatalf("%s at %s: %v", person, yard, err)
	}
	return rec
}

// refuse submits an act that must be refused with a condition.
func (c *cluster) refuse(person, yard string, want code.Code, act *recordv1.Record) {
	c.t.Helper()
	rec, err := c.as(person, yard).Submit(c.ctx(), act)
	if err == nil {
		c.t.Fatalf("%s at %s: accepted (%v), want %s", person, yard, rec.GetStatus(), want)
	}
	if r, ok := asRefused(err); !ok || !r.Has(want) {
		c.t.Fatalf("%s at %s: %v, want %s", person, yard, err, want)
	}
}

func asRefused(err error) (*client.Refused, bool) {
	for err != nil {
		if r, ok := err.(*client.Refused); ok {
			return r, true
		}
		u, ok := err.(interface{ Unwrap() error })
		if !ok {
			return nil, false
		}
		err = u.Unwrap()
	}
	return nil, false
}

// invite makes a token for a person or a yard.
func (c *cluster) invite(kind, id string, inv *recordv1.Invite) *token.Token {
	c.t.Helper()
	once := testKey("once " + id)
	inv.Id, inv.OnceKey, inv.ExpiresUnixMs = "inv-"+id, public(once), time.Now().Add(time.Hour).UnixMilli()
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}})
	t := &token.Token{Ledger: c.id, Coop: "Three Forks Grain Co-op", Kind: kind, ID: id, Invitation: inv.Id, Seed: once.Seed(), ExpiresUnixMs: inv.ExpiresUnixMs}
	for _, y := range c.yards {
		t.Yards = append(t.Yards, token.Peer{ID: y.ID, Address: y.Address, Key: y.Key})
	}
	return t
}

func (c *cluster) joinPerson(p *recordv1.Person) {
	c.t.Helper()
	p.TrainedUntilUnixMs = time.Now().Add(time.Hour).UnixMilli()
	c.keys[p.GetId()] = testKey(p.GetId())
	t := c.invite(token.Person, p.GetId(), &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: p}})
	if _, err := client.JoinPerson(c.ctx(), t, c.keys[p.GetId()]); err != nil {
		c.t.Fatal(err)
	}
}

func (c *cluster) joinYard(id string) {
	c.t.Helper()
	t := c.invite(token.Yard, id, &recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: id, Name: id}}})
	text, err := token.Encode(t)
	if err != nil {
		c.t.Fatal(err)
	}
	dir, addr := filepath.Join(c.t.TempDir(), "data"), freeAddr(c.t)
	if _, err := replica.Join(c.ctx(), replica.Joining{Dir: dir, Listen: addr, Address: addr, Timers: "lan", Token: text}); err != nil {
		c.t.Fatal(err)
	}
	c.dirs[id] = dir
	c.learn(id, addr)
	c.start(id)
}

// voters waits until n replicas vote.
func (c *cluster) voters(n int) {
	c.t.Helper()
	c.until(fmt.Sprintf("%d voters", n), func() bool {
		m, err := c.as("nia", "stonebend").Members(c.ctx(), "")
		return err == nil && int(m.GetVoters()) == n && m.GetHasQuorum()
	})
}

// until waits for something that the replicas do by themselves.
func (c *cluster) until(what string, ok func() bool, instead ...func() string) {
	c.t.Helper()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	deadline := time.After(30 * time.Second)
	for !ok() {
		select {
		case <-tick.C:
		case <-deadline:
			for _, f := range instead {
				what += "\n" + f()
			}
			c.t.Fatalf("never came: %s", what)
		}
	}
}

func three(t testing.TB, how ...func(*cluster)) *cluster {
	c := found(t, how...)
	c.until("a founded ledger", func() bool {
		b, err := c.as("nia", "stonebend").Board(c.ctx(), servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		return err == nil && b.GetCoop() != ""
	})
	c.joinYard("millrow")
	c.joinYard("eastfork")
	c.voters(3)
	return c
}

func lockOn(point, padlock, job string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: point}}, Padlock: padlock, Job: job}}}
}

// TestThreeYards: a lock at one yard is seen at every yard, read confirmed
// anywhere; another's lock is not released.
func TestThreeYards(t *testing.T) {
	t.Parallel()
	c := three(t)
	const point = "millrow/panel-1/leg-1"
	c.joinPerson(&recordv1.Person{Id: "ravi", Name: "Ravi", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}})
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: point, Holes: 2}}})
	c.do("ravi", "millrow", &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: point}}})
	rec := c.do("ravi", "millrow", lockOn(point, "r1", ""))
	if rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED || !code.Is(rec.GetMeans(), replica.LockConfirmed) {
		t.Fatalf("lock: %v %s", rec.GetStatus(), said(rec.GetMeans()))
	}
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		b, err := c.as("nia", y).Board(c.ctx(), servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		if err != nil {
			t.Fatal(err)
		}
		if !b.GetAsOf().GetConfirmed() || b.GetAsOf().GetYard() != y || len(b.GetHolds()) != 1 || b.GetHolds()[0].GetHolder() != "ravi" {
			t.Fatalf("board at %s: %v", y, b)
		}
	}
	hold := &recordv1.JournalRef{Yard: "millrow", Epoch: 1}
	fmt.Sscanf(rec.GetRef(), "millrow/1/%d", &hold.Seq)
	release := &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: hold}}}
	c.refuse("nia", "eastfork", ledger.NotYourLock, release)
	c.do("ravi", "eastfork", release)
	// A yard's equipment lock and a tag alone say first what they are not.
	for want, more := range map[code.Code]*recordv1.Lock{
		yard.EquipmentLockHere: {Equipment: true, ReviewUnixMs: 1 << 50},
		ledger.TagOnly:         {Tag: &recordv1.Tag{Only: true}},
	} {
		more.Target = &recordv1.Target{On: &recordv1.Target_Point{Point: point}}
		if rec := c.do("nia", "millrow", &recordv1.Record{Act: &recordv1.Record_Lock{Lock: more}}); !strings.Contains(said(rec.GetMeans()), string(want)) {
			t.Errorf("the receipt says %q", said(rec.GetMeans()))
		}
	}
}

// testLog prints what a replica says when YARDHASP_TEST_LOG is set.
func testLog(yard string) *slog.Logger {
	if os.Getenv("YARDHASP_TEST_LOG") == "" {
		return nil
	}
	return slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelDebug})).With("yard", yard)
}
