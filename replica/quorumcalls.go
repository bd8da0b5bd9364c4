package replica

import (
	"context"
	"errors"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
)

// propose puts entries into the ledger, here or through the leader. If it is sure that
// the entries were not taken, it tries again until ctx ends. Otherwise a direct entry
// could be taken twice. Journal records may always be sent again, since the ledger
// goes by their place in the journal.
func (r *Replica) propose(ctx context.Context, entries [][]byte) ([]*recordv1.Outcome, error) {
	for {
		outs, err := r.proposeOnce(ctx, entries)
		if err == nil || !errors.Is(err, quorum.ErrNotLeader) {
			return outs, err
		}
		if rest(ctx, 50*time.Millisecond) != nil {
			return nil, quorum.ErrNoQuorum
		}
	}
}

func (r *Replica) proposeOnce(ctx context.Context, entries [][]byte) ([]*recordv1.Outcome, error) {
	if r.node.IsLeader() {
		return r.node.Propose(ctx, entries)
	}
	lead := r.node.LeaderYard()
	if lead == "" || lead == r.set.Yard {
		return nil, quorum.ErrNotLeader
	}
	c, err := r.peers.leaderConn(lead)
	if err != nil {
		return nil, quorum.ErrNotLeader
	}
	res, err := servicev1.NewPeerServiceClient(c).Propose(ctx, &servicev1.ProposeRequest{Entries: entries})
	switch status.Code(err) {
	case codes.OK:
		return res.GetOutcomes(), nil
	case codes.FailedPrecondition:
		return nil, quorum.ErrNotLeader // the other replica does not lead: nothing was taken
	case codes.InvalidArgument:
		return nil, err
	case codes.Unauthenticated, codes.PermissionDenied:
		return nil, quorum.ErrNotLeader // it does not know this yard yet: nothing was taken
	case codes.Unavailable:
		if !sent(err) {
			return nil, quorum.ErrNotLeader
		}
	}
	return nil, quorum.ErrUnknownOutcome
}

// confirm returns once this replica's state is known to hold everything that was
// committed when confirm was called (libraries.md R8).
func (r *Replica) confirm(ctx context.Context) error {
	for {
		err := r.confirmOnce(ctx)
		if err == nil {
			return nil
		}
		r.log.Debug("a read is not confirmed yet", "err", err)
		if rest(ctx, 50*time.Millisecond) != nil {
			return quorum.ErrNoQuorum
		}
	}
}

func (r *Replica) confirmOnce(ctx context.Context) error {
	asked := r.now().UnixMilli() // the state may lack what is newer than this
	var index uint64
	var contacts []*recordv1.YardContact
	if r.node.IsLeader() {
		i, err := r.node.ReadIndex(ctx)
		if err != nil {
			return err
		}
		index, contacts = i, r.contacts()
	} else {
		lead := r.node.LeaderYard()
		if lead == "" || lead == r.set.Yard {
			return quorum.ErrNotLeader
		}
		c, err := r.peers.leaderConn(lead)
		if err != nil {
			return err
		}
		res, err := servicev1.NewPeerServiceClient(c).ReadIndex(ctx, &servicev1.ReadIndexRequest{})
		if err != nil {
			return err
		}
		index, contacts = res.GetRaftIndex(), res.GetYards()
	}
	if err := r.node.WaitApplied(ctx, index); err != nil {
		return err
	}
	r.mu.Lock()
	r.confirmedAt, r.lastContacts = max(r.confirmedAt, asked), contacts
	r.mu.Unlock()
	return nil
}

// contacts says, on the leader, which yards it hears from.
func (r *Replica) contacts() []*recordv1.YardContact {
	m := r.node.Members()
	var out []*recordv1.YardContact
	for _, s := range m.Servers {
		heard, last := r.node.Contact(s.ID)
		c := &recordv1.YardContact{Yard: s.Yard, Heard: heard}
		if !last.IsZero() {
			c.LastHeardUnixMs = last.UnixMilli()
		}
		out = append(out, c)
	}
	return out
}

// asOf describes the state s that an answer rests on. It must be called inside View.
// For a confirmed answer, confirm must have returned before.
func (r *Replica) asOf(s *ledger.State, confirmed bool, because *recordv1.Finding) *recordv1.AsOf {
	root := s.Root()
	r.mu.Lock()
	defer r.mu.Unlock()
	a := &recordv1.AsOf{Size: s.Size(), Root: root[:], TimeUnixMs: s.Time, Yard: r.set.Yard, ReadUnixMs: r.now().UnixMilli(),
		Confirmed: confirmed, ConfirmedUnixMs: r.confirmedAt, Because: because, Divergence: r.alarm}
	if r.alarm != nil {
		a.Confirmed, a.Because = false, HistoryInDoubt.About("") // nobody can say of which history
	}
	for _, id := range sortedYards(s) {
		y := s.Yards[id]
		c := &recordv1.YardContact{Yard: id, Name: y.Name, Epoch: y.Epoch, Drained: y.Drained}
		for _, k := range r.lastContacts {
			if k.GetYard() == id {
				c.Heard, c.LastHeardUnixMs = k.GetHeard() && confirmed, k.GetLastHeardUnixMs()
			}
		}
		if id == r.set.Yard {
			c.Heard, c.LastHeardUnixMs = true, a.ReadUnixMs
		}
		a.Yards = append(a.Yards, c)
	}
	return a
}

// LocalRead: the caller wants this replica's own state, so no quorum was asked.
var LocalRead = code.New("LOCAL_READ", code.Row{})

// read runs fn on the state. The reading is confirmed if that was asked for and is
// possible.
func (r *Replica) read(ctx context.Context, want servicev1.Consistency, fn func(s *ledger.State, a *recordv1.AsOf)) error {
	confirmed, because := false, LocalRead.About("")
	if want != servicev1.Consistency_CONSISTENCY_LOCAL {
		c, cancel := context.WithTimeout(ctx, r.patience())
		err := r.confirm(c)
		cancel()
		confirmed = err == nil
		if err != nil {
			because = client.ReasonNoQuorum.About("")
			if want == servicev1.Consistency_CONSISTENCY_CONFIRMED {
				return failed(err)
			}
		} else {
			because = nil
		}
		if d := r.divergence(); d != nil && want == servicev1.Consistency_CONSISTENCY_CONFIRMED {
			return answer(codes.FailedPrecondition, d)
		}
	}
	r.node.View(func(s *ledger.State, _ uint64) { fn(s, r.asOf(s, confirmed, because)) })
	return nil
}

// patience is how long a read waits for a quorum before it says that there is none. It
// is long enough to find a new leader. If no leader was found for that long, later
// reads wait much less, so that a screen does not hang each time.
func (r *Replica) patience() time.Duration { return patience(r.timers.Election, r.leaderless()) }

func patience(election, leaderless time.Duration) time.Duration {
	if leaderless >= 4*election {
		return election / 2
	}
	return 4 * election
}

// leaderless is how long this replica has known no leader, as duties last noted it. It
// is 0 when a leader is known.
func (r *Replica) leaderless() time.Duration {
	if r.node.LeaderYard() != "" {
		return 0
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return time.Since(r.ledAt)
}

// noteLeader remembers when a leader was last known.
func (r *Replica) noteLeader() {
	if r.node.LeaderYard() == "" {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.ledAt = time.Now()
}

// rest waits d, or until ctx ends.
func rest(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
