package replica

import (
	"context"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// askAround asks other yards which yards are new. It is needed after this yard was cut
// off. Another yard may have joined meanwhile and lead now. Its key is unknown here,
// so nothing from it is let in, and only the leader would send the entry that names
// the key.
//
// The yards that are asked are known by key. Their answer only lets the connection in,
// and raft checks the rest. For a yard that is known here, only the ledger can change
// the key.
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

// lonely notes since when no leader is known. When that is too long, it asks around.
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
