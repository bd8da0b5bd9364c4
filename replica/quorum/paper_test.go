package quorum

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/hashicorp/raft"

	"yardhasp/ledger"
	"yardhasp/replica/store"
)

// The scenarios of this file are those of Ongaro and Ousterhout, In Search of an
// Understandable Consensus Algorithm (extended version, 2014), figures 7 and 8 and
// section 5.4.1, from memory. Logs are written straight into the stores; entry 1
// is the configuration, which the paper has not.

// server is one server of the paper.
type server struct {
	name  string
	terms []uint64      // of the entries in its log, from index 1
	eager time.Duration // after so long without a leader it asks for votes
}

const lazy = time.Hour

// gate is a transport that loses the entries which its filter names, and sends one call at a time.
type gate struct {
	*raft.InmemTransport
	lose *atomic.Pointer[func(*raft.AppendEntriesRequest) bool]
}

var errLost = errors.New("lost on the way")

func (g *gate) AppendEntries(id raft.ServerID, to raft.ServerAddress, req *raft.AppendEntriesRequest, resp *raft.AppendEntriesResponse) error {
	if f := g.lose.Load(); f != nil && (*f)(req) {
		bare := *req // the follower still says whether its log matches before them
		bare.Entries = nil
		if err := g.InmemTransport.AppendEntries(id, to, &bare, resp); err != nil || !resp.Success {
			return err
		}
		*resp = raft.AppendEntriesResponse{}
		return errLost
	}
	return g.InmemTransport.AppendEntries(id, to, req, resp)
}

func (g *gate) AppendEntriesPipeline(raft.ServerID, raft.ServerAddress) (raft.AppendPipeline, error) {
	return nil, raft.ErrPipelineReplicationNotSupported
}

type paperNode struct {
	*Node
	wire *raft.InmemTransport
	log  *store.Log
	lose atomic.Pointer[func(*raft.AppendEntriesRequest) bool]
}

// paper is a cluster; servers that are not started yet are down.
type paper struct {
	t       *testing.T
	servers []server
	term    uint64 // that everybody has seen
	up      map[string]*paperNode
	stops   chan error // who stops by itself; nil: nobody may
}

func newPaper(t *testing.T, term uint64, servers ...server) *paper {
	return &paper{t: t, servers: servers, term: term, up: map[string]*paperNode{}}
}

// entry is one of its log, without what is in it.
func (s *server) entry(i int) *raft.Log {
	return &raft.Log{Index: uint64(i + 1), Term: s.terms[i], Type: raft.LogCommand}
}

func (p *paper) start(name string) *paperNode {
	p.t.Helper()
	s := p.servers[slices.IndexFunc(p.servers, func(s server) bool { return s.name == name })]
	dir := p.t.TempDir()
	log, err := store.OpenLog(dir, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	history, err := store.OpenHistory(dir, nil)
	if err != nil {
		p.t.Fatal(err)
	}
	var conf raft.Configuration
	for _, o := range p.servers {
		conf.Servers = append(conf.Servers, raft.Server{Suffrage: raft.Voter, ID: raft.ServerID(o.name), Address: raft.ServerAddress(o.name)})
	}
	for i := range s.terms {
		l := s.entry(i)
		if l.Data = batch(p.t, nil, ledger.DirectEntry(fmt.Appendf(nil, "entry %d of term %d", l.Index, l.Term))); i == 0 {
			l.Type, l.Data = raft.LogConfiguration, raft.EncodeConfiguration(conf)
		}
		if err := log.StoreLog(l); err != nil {
			p.t.Fatal(err)
		}
	}
	if err := log.SetUint64([]byte("CurrentTerm"), p.term); err != nil {
		p.t.Fatal(err)
	}
	n := &paperNode{log: log}
	_, n.wire = raft.NewInmemTransportWithTimeout(raft.ServerAddress(name), time.Second)
	for _, o := range p.up {
		n.wire.Connect(o.wire.LocalAddr(), o.wire)
		o.wire.Connect(n.wire.LocalAddr(), n.wire)
	}
	timers := Profiles["lan"]
	timers.Heartbeat, timers.Election, timers.MaxAppendEntries = s.eager, s.eager, 1
	n.Node, err = Open(Config{ID: name, Yard: name, Dir: dir, Log: log, History: history, Transport: &gate{n.wire, &n.lose}, Timers: timers, Roots: &Roots{},
		OnChange: func() {}, Halt: func(err error) {
			if p.stops == nil {
				p.t.Errorf("%s stops: %v", name, err)
			} else {
				p.stops <- err
			}
		}, Now: time.Now, Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		p.t.Fatal(err)
	}
	p.up[name] = n
	p.t.Cleanup(func() {
		if err := errors.Join(n.Close(), history.Close(), log.Close()); err != nil {
			p.t.Error(err)
		}
	})
	return n
}

// pass lets time go by: the bubble's, which costs none and is over only when nothing
// is left to do before it.
func pass(d time.Duration) { time.Sleep(d) }

// leads waits until a server leads and has applied what it has.
func (p *paper) leads(name string) {
	p.t.Helper()
	for range 600 {
		if p.up[name].IsLeader() {
			return
		}
		pass(100 * time.Millisecond)
	}
	p.t.Fatalf("%s does not lead after a minute", name)
}

// neverLeads checks that for a minute nobody leads.
func (p *paper) neverLeads() {
	p.t.Helper()
	for range 600 {
		for name, n := range p.up {
			if n.raft.State() == raft.Leader {
				p.t.Fatalf("%s leads", name)
			}
		}
		pass(100 * time.Millisecond)
	}
}

// terms reads the terms in a server's log up to an index.
func (p *paper) terms(name string, to uint64) (out []uint64) {
	p.t.Helper()
	last, err := p.up[name].log.LastIndex()
	if err != nil {
		p.t.Fatal(err)
	}
	for i := uint64(1); i <= min(last, to); i++ {
		var l raft.Log
		if err := p.up[name].log.GetLog(i, &l); err != nil {
			p.t.Fatal(err)
		}
		out = append(out, l.Term)
	}
	return out
}

// match checks that every server that is up has the leader's log, and that all
// went through the same states.
func (p *paper) match(leader string) {
	p.t.Helper()
	pass(30 * time.Second)
	last, err := p.up[leader].log.LastIndex()
	if err != nil {
		p.t.Fatal(err)
	}
	for name, n := range p.up {
		if end, err := n.log.LastIndex(); err != nil || end != last {
			p.t.Errorf("%s ends at %d, %s at %d: %v", name, end, leader, last, err)
			continue
		}
		for i := uint64(1); i <= last; i++ {
			var want, got raft.Log
			if err := errors.Join(p.up[leader].log.GetLog(i, &want), n.log.GetLog(i, &got)); err != nil || got.Term != want.Term || got.Type != want.Type || !bytes.Equal(got.Data, want.Data) {
				p.t.Errorf("entry %d of %s is not that of %s: term %d and %d: %v", i, name, leader, got.Term, want.Term, err)
			}
		}
		if got, want := p.root(name), p.root(leader); got != want {
			p.t.Errorf("%s applied other entries than %s: %s, %s", name, leader, got, want)
		}
	}
}

func (p *paper) root(name string) (out string) {
	p.up[name].View(func(s *ledger.State, _ uint64) { out = fmt.Sprintf("%d entries, %x", s.Size(), s.Root()) })
	return out
}

// TestFigure7: when the leader of term 8 comes to power, its followers' logs may
// be any of (a) to (f): it brings each to match its own (5.3, log matching).
func TestFigure7(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		lead := server{"leader", []uint64{1, 1, 1, 4, 4, 5, 5, 6, 6, 6}, time.Second}
		p := newPaper(t, 7, lead,
			server{"a", []uint64{1, 1, 1, 4, 4, 5, 5, 6, 6}, lazy},          // one entry is missing
			server{"b", []uint64{1, 1, 1, 4}, lazy},                         // many are
			server{"c", []uint64{1, 1, 1, 4, 4, 5, 5, 6, 6, 6, 6}, lazy},    // one that was not committed is too much
			server{"d", []uint64{1, 1, 1, 4, 4, 5, 5, 6, 6, 6, 7, 7}, lazy}, // and two of a later term
			server{"e", []uint64{1, 1, 1, 4, 4, 4, 4}, lazy},                // both
			server{"f", []uint64{1, 1, 1, 2, 2, 2, 3, 3, 3, 3, 3}, lazy})    // both, over two terms
		for _, s := range p.servers {
			p.start(s.name)
		}
		p.leads("leader")
		p.match("leader")
		if got := p.terms("leader", 10); !slices.Equal(got, lead.terms) {
			t.Errorf("the leader's own log changed: %v", got)
		}
		if got := p.terms("f", 11); len(got) != 11 || got[10] != 8 {
			t.Errorf("the leader of term 8 added to %v", got)
		}
	})
}

// five is the cluster of figure 8, in which S1 wrote entry 2 in term 2, S5 another
// in term 3, and S1's came to S2 and S3 later.
func five(t *testing.T, s1, s2, s3, s4, s5 server) *paper {
	for i, s := range []*server{&s1, &s2, &s3, &s4, &s5} {
		s.name = fmt.Sprintf("S%d", i+1)
	}
	return newPaper(t, 3, s1, s2, s3, s4, s5)
}

// TestFigure8c: S1 leads again, in term 4; its entry of term 2 reaches a majority,
// and is not committed before one of term 4 is (5.4.2).
func TestFigure8c(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := five(t, server{terms: []uint64{1, 2}, eager: time.Second}, server{terms: []uint64{1, 2}, eager: lazy},
			server{terms: []uint64{1}, eager: lazy}, server{terms: []uint64{1}, eager: lazy}, server{terms: []uint64{1, 3}, eager: lazy})
		lost := func(r *raft.AppendEntriesRequest) bool {
			return slices.ContainsFunc(r.Entries, func(l *raft.Log) bool { return l.Term > 3 })
		}
		s1 := p.start("S1")
		s1.lose.Store(&lost)
		for _, name := range []string{"S2", "S3", "S4"} {
			p.start(name)
		}
		pass(time.Minute)
		for _, name := range []string{"S1", "S2", "S3"} {
			if got := p.terms(name, 2); !slices.Equal(got, []uint64{1, 2}) {
				t.Fatalf("%s has %v: the entry of term 2 is not on a majority, so this shows nothing", name, got)
			}
		}
		for name, n := range p.up {
			if got := p.root(name); n.raft.CommitIndex() >= 2 || got != fmt.Sprintf("0 entries, %x", ledger.New().Root()) {
				t.Errorf("%s committed up to %d and applied %s: an entry of an old term on a majority is not committed", name, n.raft.CommitIndex(), got)
			}
		}
		s1.lose.Store(nil)
		p.leads("S1")
		p.start("S5")
		p.match("S1")
		if got := p.terms("S5", 2); !slices.Equal(got, []uint64{1, 2}) {
			t.Errorf("once one of S1's own term is committed S5 has %v", got)
		}
	})
}

// TestFigure8d: S1 is down; S5 is elected by S2, S3 and S4 and overwrites the entry
// of term 2, though it is on a majority; S1 follows when it is back.
func TestFigure8d(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := five(t, server{terms: []uint64{1, 2}, eager: lazy}, server{terms: []uint64{1, 2}, eager: lazy},
			server{terms: []uint64{1, 2}, eager: lazy}, server{terms: []uint64{1}, eager: lazy}, server{terms: []uint64{1, 3}, eager: time.Second})
		for _, name := range []string{"S2", "S3", "S4", "S5"} {
			p.start(name)
		}
		p.leads("S5")
		p.start("S1")
		p.match("S5")
		if got := p.terms("S1", 2); !slices.Equal(got, []uint64{1, 3}) {
			t.Errorf("S1 has %v", got)
		}
	})
}

// TestFigure8e: S1's entry of term 4 is on a majority before it goes down; S5 can't
// win an election any more, and another keeps both entries.
func TestFigure8e(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := five(t, server{terms: []uint64{1, 2, 4}, eager: lazy}, server{terms: []uint64{1, 2, 4}, eager: 3 * time.Minute},
			server{terms: []uint64{1, 2, 4}, eager: lazy}, server{terms: []uint64{1}, eager: lazy}, server{terms: []uint64{1, 3}, eager: time.Second})
		p.term = 4
		for _, name := range []string{"S2", "S3", "S4", "S5"} {
			p.start(name)
		}
		p.neverLeads()
		pass(9 * time.Minute)
		p.leads("S2")
		p.start("S1")
		p.match("S2")
		if got := p.terms("S5", 3); !slices.Equal(got, []uint64{1, 2, 4}) {
			t.Errorf("S5 has %v", got)
		}
	})
}

// TestElectionRestriction: nobody whose log is less up to date than a majority's is
// elected: the later last term decides, and the longer log among the same (5.4.1).
func TestElectionRestriction(t *testing.T) {
	for name, c := range map[string]struct{ eager, majority []uint64 }{
		"a long log of an old term": {[]uint64{1, 1, 1, 1, 1}, []uint64{1, 2}},
		"a shorter log":             {[]uint64{1, 2}, []uint64{1, 2, 2}},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p := newPaper(t, 2, server{"S1", c.eager, time.Second}, server{"S2", c.majority, 3 * time.Minute}, server{"S3", c.majority, lazy})
				for _, s := range p.servers {
					p.start(s.name)
				}
				p.neverLeads()
				pass(9 * time.Minute)
				p.leads("S2")
				p.match("S2")
				if got := p.terms("S1", uint64(len(c.majority))); !slices.Equal(got, c.majority) {
					t.Errorf("S1 has %v", got)
				}
			})
		})
	}
}
