package replica

import (
	"context"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
)

// memberServer answers MembershipService.
type memberServer struct {
	servicev1.UnimplementedMembershipServiceServer
	r *Replica
}

// GetMembers says which replicas count for the quorum, and how this replica is.
func (m *memberServer) GetMembers(ctx context.Context, _ *servicev1.GetMembersRequest) (*servicev1.GetMembersResponse, error) {
	r := m.r
	c, cancel := context.WithTimeout(ctx, r.patience())
	err := r.confirm(c)
	cancel()
	ms := r.node.Members()
	res := &servicev1.GetMembersResponse{Voters: uint32(ms.Voters), Quorum: uint32(ms.Quorum), HasQuorum: err == nil, Yard: r.set.Yard, Wrong: r.Health()}
	r.node.View(func(s *ledger.State, _ uint64) {
		res.AsOf = r.asOf(s, err == nil, unconfirmedFor(err))
		res.Ledger, res.Coop = s.LedgerID(), s.Coop
		heard := map[string]*recordv1.YardContact{}
		for _, k := range res.AsOf.GetYards() {
			heard[k.GetYard()] = k
		}
		for _, sv := range ms.Servers {
			mb := &servicev1.Member{Yard: sv.Yard, Voter: sv.Voter, Leader: sv.Yard == ms.Leader && err == nil,
				Alive: heard[sv.Yard].GetHeard(), LastHeardUnixMs: heard[sv.Yard].GetLastHeardUnixMs()}
			if y := s.Yards[sv.Yard]; y != nil {
				mb.Name, mb.Address, mb.Fingerprint, mb.ReplicaKey = y.Name, y.Address, seal.Fingerprint(y.Key), y.Key
			}
			if mb.Alive && mb.Voter {
				res.Alive++
			}
			res.Members = append(res.Members, mb)
		}
	})
	if res.HasQuorum && res.Alive > res.Quorum {
		res.MayFail = res.Alive - res.Quorum
	}
	res.Means = membersMeans(res)
	return res, nil
}

// unconfirmedFor is why a reading is not confirmed after err, nil when err is nil.
func unconfirmedFor(err error) *recordv1.Finding {
	if err == nil {
		return nil
	}
	return client.ReasonNoQuorum.About("")
}

// What the number of voters means.
var (
	OneYard  = code.New("ONE_YARD", code.Row{})
	TwoYards = code.New("TWO_YARDS", code.Row{})
	// NoneMayFail, SomeMayFail and EvenMayFail say how many voters may fail before
	// nothing can be approved. An even number of voters protects no better than one
	// voter fewer.
	NoneMayFail = code.New("NONE_MAY_FAIL", code.Row{Args: "alive:number voters:number needed:number"})
	SomeMayFail = code.New("SOME_MAY_FAIL", code.Row{Args: "alive:number voters:number needed:number may_fail:number"})
	EvenMayFail = code.New("EVEN_MAY_FAIL", code.Row{Args: "alive:number voters:number needed:number may_fail:number"})
)

func membersMeans(m *servicev1.GetMembersResponse) *recordv1.Finding {
	switch {
	case !m.GetHasQuorum():
		return client.ReasonNoQuorum.About("")
	case m.GetVoters() == 1:
		return OneYard.About("")
	case m.GetVoters() == 2:
		return TwoYards.About("")
	case m.GetMayFail() == 0:
		return NoneMayFail.About("", m.GetAlive(), m.GetVoters(), m.GetQuorum())
	case m.GetVoters()%2 == 0:
		return EvenMayFail.About("", m.GetAlive(), m.GetVoters(), m.GetQuorum(), m.GetMayFail())
	}
	return SomeMayFail.About("", m.GetAlive(), m.GetVoters(), m.GetQuorum(), m.GetMayFail())
}

// peerServer answers PeerService.
type peerServer struct {
	servicev1.UnimplementedPeerServiceServer
	r *Replica
}

// Propose takes entries of another replica, if this one leads. Bytes that can never be
// an entry do not reach the log.
func (p *peerServer) Propose(ctx context.Context, q *servicev1.ProposeRequest) (*servicev1.ProposeResponse, error) {
	entries, err := quorum.DecodeAll(&p.r.checked, q.GetEntries())
	if err != nil {
		return nil, failed(err)
	}
	for _, e := range entries {
		// A journal record whose act is malformed still takes its place in the
		// journal. Otherwise it would block every record after it.
		if f := e.Fault(); f != nil && e.Envelope() == nil {
			return nil, fault(f)
		}
	}
	outs, err := p.r.node.Propose(ctx, q.GetEntries())
	switch {
	case err == quorum.ErrNotLeader:
		return nil, status.Error(codes.FailedPrecondition, err.Error())
	case err != nil:
		return nil, failed(err)
	}
	return &servicev1.ProposeResponse{Outcomes: outs}, nil
}

func (p *peerServer) ReadIndex(ctx context.Context, _ *servicev1.ReadIndexRequest) (*servicev1.ReadIndexResponse, error) {
	i, err := p.r.node.ReadIndex(ctx)
	if err != nil {
		return nil, failed(err)
	}
	return &servicev1.ReadIndexResponse{RaftIndex: i, TimeUnixMs: p.r.now().UnixMilli(), Yards: p.r.contacts()}, nil
}

// maxVoters bounds the quorum. Further yards follow without a vote.
const maxVoters = 7

// Promote gives a replica its vote once it has caught up.
func (p *peerServer) Promote(ctx context.Context, q *servicev1.PromoteRequest) (*servicev1.PromoteResponse, error) {
	r := p.r
	if !r.node.IsLeader() {
		return nil, status.Error(codes.FailedPrecondition, quorum.ErrNotLeader.Error())
	}
	yard := callerOf(ctx).yard
	if yard != q.GetYard() {
		return nil, status.Error(codes.PermissionDenied, "a replica asks for itself only")
	}
	ms := r.node.Members()
	for _, s := range ms.Servers {
		switch {
		case s.Yard != yard:
		case s.Voter:
			return &servicev1.PromoteResponse{Voter: true}, nil
		case ms.Voters < maxVoters && r.node.Caught(q.GetRaftIndex()):
			if err := r.node.Promote(s.ID, s.Yard); err != nil {
				return nil, failed(err)
			}
			return &servicev1.PromoteResponse{Voter: true}, nil
		}
	}
	return &servicev1.PromoteResponse{}, nil
}
