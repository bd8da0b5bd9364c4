package replica

import (
	"context"
	"crypto/ed25519"
	"io"
	"maps"
	"slices"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/yard"
)

// duties does what a replica must do without being asked. It derives each duty from
// the applied state, and repeats it until the state shows that it is done.
func (r *Replica) duties() {
	tick := time.NewTicker(max(r.timers.Election/2, 200*time.Millisecond))
	defer tick.Stop()
	var alone time.Time // since when no leader is known
	for {
		select {
		case <-r.ctx.Done():
			return
		case <-r.kick:
		case <-tick.C:
		}
		r.noteLeader()
		r.learn()
		r.report()
		alone = r.lonely(alone)
		if r.node.IsLeader() {
			r.leaderDuties()
		} else {
			r.askForVote()
		}
	}
}

// learn updates the directory from the state.
func (r *Replica) learn() {
	var now map[string]entry
	r.node.View(func(s *ledger.State, _ uint64) { now = entries(s) })
	if err := r.directory.learn(now); err != nil {
		r.log.Warn("peers.json can't be written", "err", err)
	}
}

func (r *Replica) leaderDuties() {
	ctx, cancel := context.WithTimeout(r.ctx, 5*time.Second)
	defer cancel()
	var founded bool
	var due [][]byte
	type member struct{ id, yard string }
	var joined []member
	r.node.View(func(s *ledger.State, _ uint64) {
		founded = s.Ledger != ""
		for id, y := range s.Yards {
			joined = append(joined, member{seal.Fingerprint(y.Key), id})
		}
		for _, id := range slices.Sorted(maps.Keys(s.Reqs)) {
			if q := s.Reqs[id]; q.Open() && r.now().UnixMilli() >= q.Deadline {
				due = append(due, r.expire(q.ID))
			}
		}
	})
	if !founded && r.set.Founder {
		raw, err := r.founding()
		if err == nil {
			_, err = r.node.Propose(ctx, [][]byte{ledger.FoundingEntry(raw)})
		}
		if err != nil {
			r.log.Warn("the founding record is not in the ledger yet", "err", err)
		}
		return
	}
	if len(due) > 0 {
		if _, err := r.node.Propose(ctx, due); err != nil {
			r.log.Info("expiry not recorded yet", "err", err)
		}
	}
	r.replaced()
	have := map[string]bool{}
	for _, s := range r.node.Members().Servers {
		have[s.ID] = true
	}
	for _, m := range joined {
		if !have[m.id] {
			if err := r.node.Add(m.id, m.yard); err != nil {
				r.log.Info("a yard that joined does not follow yet", "yard", m.yard, "err", err)
			}
		}
	}
}

// expire makes the record that ends a request at its deadline.
func (r *Replica) expire(request string) []byte {
	now := r.now().UnixMilli()
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(&recordv1.Record{Ledger: r.ledgerID(), Signer: r.set.Yard,
		Ticket: &recordv1.Ticket{Device: "replica", Counter: uint64(now)}, CapturedUnixMs: now,
		Act: &recordv1.Record_Expire{Expire: &recordv1.Expire{Request: request}}})
	if err != nil {
		return nil
	}
	signed, err := proto.Marshal(&recordv1.Signed{Body: body, Signatures: []*recordv1.Signature{{
		Key: r.key.Public().(ed25519.PublicKey), Signature: seal.Sign(r.key, seal.RecordDomain, body)}}})
	if err != nil {
		return nil
	}
	return ledger.DirectEntry(signed)
}

// askForVote asks the leader for this replica's vote once it has caught up.
func (r *Replica) askForVote() {
	lead := r.node.LeaderYard()
	if lead == "" || lead == r.set.Yard {
		return
	}
	var known bool
	var at uint64
	r.node.View(func(s *ledger.State, i uint64) {
		y := s.Yards[r.set.Yard]
		known, at = y != nil && string(y.Key) == string(r.Key()), i
	})
	if !known {
		return
	}
	for _, s := range r.node.Members().Servers {
		if s.Yard == r.set.Yard && s.Voter {
			return
		}
	}
	c, err := r.peers.conn(lead)
	if err != nil {
		return
	}
	ctx, cancel := context.WithTimeout(r.ctx, 5*time.Second)
	defer cancel()
	if _, err := servicev1.NewPeerServiceClient(c).Promote(ctx, &servicev1.PromoteRequest{Yard: r.set.Yard, RaftIndex: at}); err != nil {
		r.log.Debug("not voting yet", "err", err)
	}
}

// report keeps the standard health service up to date. "" is the process.
// "ledger.write" serves when a leader is known, "ledger.read" when a state is applied,
// and "ledger.agree" when no divergence is known.
func (r *Replica) report() {
	set := func(name string, ok bool) {
		st := grpc_health_v1.HealthCheckResponse_NOT_SERVING
		if ok {
			st = grpc_health_v1.HealthCheckResponse_SERVING
		}
		r.checks.SetServingStatus(name, st)
	}
	founded := false
	r.node.View(func(s *ledger.State, _ uint64) { founded = s.Ledger != "" })
	set("", !r.stopped.Load())
	set("ledger.read", founded)
	set("ledger.disk", r.disk.trouble() == nil)
	set("ledger.agree", r.divergence() == nil)
	set("ledger.write", founded && !r.stopped.Load() && r.node.LeaderYard() != "")
}

var (
	// HistoryDamaged: fault is what the check of the history found.
	HistoryDamaged = code.New("HISTORY_DAMAGED", code.Row{Args: "fault:text"})
	// HistoryBehind: the history before a snapshot is still being fetched. tried is
	// the error of the last try.
	HistoryBehind = code.New("HISTORY_BEHIND", code.Row{Args: "tried:text"})
)

// Health lists what is wrong with this replica, worst first. It is empty when nothing
// was found.
func (r *Replica) Health() []*recordv1.Finding {
	var out []*recordv1.Finding
	if d := r.divergence(); d != nil {
		out = append(out, d)
	}
	if t := r.disk.trouble(); t != nil {
		out = append(out, t)
	}
	if ok, why := r.yard.serving(); !ok {
		out = append(out, yard.OutOfService.About(r.set.Yard, r.set.Yard, why))
	}
	if f := r.node.HistoryFault(); f != "" {
		out = append(out, HistoryDamaged.About("", f))
	} else if r.node.HistoryBehind() {
		out = append(out, HistoryBehind.About("", r.node.Unfilled()))
	}
	return out
}

// fetch reads history from any other yard that has it.
func (r *Replica) fetch(ctx context.Context, from, to uint64, fn func(uint64, []byte) error) error {
	err := status.Error(codes.Unavailable, "no other yard is known")
	for _, y := range r.directory.infos() {
		if y.GetId() == r.set.Yard {
			continue
		}
		if err = r.fetchFrom(ctx, y.GetId(), from, to, fn); err == nil {
			return nil
		}
	}
	return err
}

func (r *Replica) fetchFrom(ctx context.Context, yard string, from, to uint64, fn func(uint64, []byte) error) error {
	c, err := r.peers.conn(yard)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	st, err := servicev1.NewLedgerServiceClient(c).Export(ctx, &servicev1.ExportRequest{From: from, To: to})
	if err != nil {
		return err
	}
	for want := from; want < to; want++ {
		m, err := st.Recv()
		if err == io.EOF {
			return status.Errorf(codes.OutOfRange, "%s has only %d entries", yard, want)
		}
		if err != nil {
			return err
		}
		if m.GetIndex() != want {
			return status.Errorf(codes.DataLoss, "%s sent entry %d instead of %d", yard, m.GetIndex(), want)
		}
		if err := fn(want, m.GetEntry()); err != nil {
			return err
		}
	}
	return nil
}

// checkpoint signs the size and root of what this replica holds.
func (r *Replica) checkpoint() (string, error) {
	var size uint64
	var root [32]byte
	r.node.View(func(s *ledger.State, _ uint64) { size, root = s.Size(), s.Root() })
	return r.sign(size, root)
}
