package quorum

import (
	"context"
	"sync"
	"time"

	"github.com/hashicorp/raft"
)

// Members says which replicas count for the quorum, and which leads.
type Members struct {
	Servers []Server
	Voters  int
	Quorum  int
	Leader  string // yard
}

// Server is one replica in the configuration.
type Server struct {
	ID, Yard string
	Voter    bool
}

// Members reads the configuration in force.
func (n *Node) Members() Members {
	m := Members{Leader: n.LeaderYard()}
	f := n.raft.GetConfiguration()
	if f.Error() != nil {
		return m
	}
	for _, s := range f.Configuration().Servers {
		v := s.Suffrage == raft.Voter
		m.Servers = append(m.Servers, Server{ID: string(s.ID), Yard: string(s.Address), Voter: v})
		if v {
			m.Voters++
		}
	}
	m.Quorum = m.Voters/2 + 1
	return m
}

// Add takes a replica in as a follower without a vote.
func (n *Node) Add(id, yard string) error {
	return n.change(func() raft.IndexFuture {
		return n.raft.AddNonvoter(raft.ServerID(id), raft.ServerAddress(yard), 0, 5*time.Second)
	})
}

// Promote gives a follower its vote.
func (n *Node) Promote(id, yard string) error {
	return n.change(func() raft.IndexFuture {
		return n.raft.AddVoter(raft.ServerID(id), raft.ServerAddress(yard), 0, 5*time.Second)
	})
}

// Remove takes a replica out of the quorum for good.
func (n *Node) Remove(id string) error {
	return n.change(func() raft.IndexFuture { return n.raft.RemoveServer(raft.ServerID(id), 0, 5*time.Second) })
}

func (n *Node) change(fn func() raft.IndexFuture) error {
	ctx, cancel := context.WithTimeout(n.ctx, 10*time.Second)
	defer cancel()
	return await(ctx, func() error { return fn().Error() })
}

// Caught reports whether a replica that has applied up to index is close behind the
// leader.
func (n *Node) Caught(index uint64) bool { return index+64 >= n.raft.CommitIndex() }

// contacts remembers, on the leader, which yards do not answer.
type contacts struct {
	mu      sync.Mutex
	failing map[string]time.Time // server id -> last contact, zero time: never
}

func (c *contacts) reset() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.failing = map[string]time.Time{}
}

// Contact says whether the leader hears from a server now, and when it last did.
func (n *Node) Contact(id string) (heard bool, last time.Time) {
	if id == n.cfg.ID {
		return true, n.cfg.Now()
	}
	n.contacts.mu.Lock()
	defer n.contacts.mu.Unlock()
	last, failing := n.contacts.failing[id]
	if failing {
		return false, last
	}
	return true, n.cfg.Now()
}

// observe keeps contacts up to date with what raft reports.
func (n *Node) observe() {
	ch := make(chan raft.Observation, 64)
	o := raft.NewObserver(ch, false, func(o *raft.Observation) bool {
		switch o.Data.(type) {
		case raft.FailedHeartbeatObservation, raft.ResumedHeartbeatObservation:
			return true
		}
		return false
	})
	n.raft.RegisterObserver(o)
	n.wg.Go(func() {
		defer n.raft.DeregisterObserver(o)
		for {
			select {
			case ob := <-ch:
				n.contacts.mu.Lock()
				switch d := ob.Data.(type) {
				case raft.FailedHeartbeatObservation:
					if _, known := n.contacts.failing[string(d.PeerID)]; !known {
						n.contacts.failing[string(d.PeerID)] = d.LastContact
					}
				case raft.ResumedHeartbeatObservation:
					delete(n.contacts.failing, string(d.PeerID))
				}
				n.contacts.mu.Unlock()
			case <-n.ctx.Done():
				return
			}
		}
	})
}
