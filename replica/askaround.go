package replica

import (
	"context"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// askAround learns of yards that are new here from one that has a quorum. While this
// yard was cut off another may have joined, and lead by now: its key is unknown here, so
// nothing of it is let in, and the entry that would tell of it comes from nobody else.
// Who is asked is known by key, and what they say opens only the way for what raft then
// checks. The key of a yard that is known is the ledger's to change.
func (r *Replica) askAround() {
	for _, y := range r.directory.infos() {
		if y.GetId() == r.set.Yard {
			continue
		}
		c, err := r.peers.conn(y.GetId())
		if err != nil {
			continue
		}
		ctx, cancel := context.WithTimeout(r.ctx, 3*time.Second)
		m, err := servicev1.NewMembershipServiceClient(c).GetMembers(ctx, &servicev1.GetMembersRequest{})
		cancel()
		if err != nil || !m.GetHasQuorum() {
			continue
		}
		told := map[string]entry{}
		for _, k := range m.GetMembers() {
			if _, known := r.directory.get(k.GetYard()); !known && len(k.GetReplicaKey()) > 0 {
				told[k.GetYard()] = entry{k.GetName(), k.GetAddress(), k.GetReplicaKey()}
			}
		}
		if err := r.directory.learn(told); err != nil {
			r.log.Warn("peers.json can't be written", "err", err)
		}
		r.log.Info("no leader is heard here: who the yards are was asked of another", "yard", y.GetId(), "yards", len(told))
		return
	}
}

// lonely keeps since when no leader is known; it asks around when that is too long.
func (r *Replica) lonely(since time.Time) time.Time {
	switch {
	case r.node.LeaderYard() != "":
		return time.Time{}
	case since.IsZero():
		return time.Now()
	case time.Since(since) > 5*r.timers.Election:
		r.askAround()
		return time.Now()
	}
	return since
}
