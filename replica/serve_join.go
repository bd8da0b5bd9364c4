package replica

import (
	"bytes"
	"context"
	"slices"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Join redeems an invitation. The signatures on the record show who may do so.
func (m *memberServer) Join(ctx context.Context, q *servicev1.JoinRequest) (*servicev1.JoinResponse, error) {
	r := m.r
	e, err := r.checked.Decode(ledger.DirectEntry(q.GetSigned()))
	if err != nil {
		return nil, failed(err)
	}
	if f := e.Fault(); f != nil {
		return nil, fault(f)
	}
	if bad := e.Misshapen(); len(bad) > 0 {
		return nil, fault(bad...)
	}
	kind := ledger.KindFor(e.Record())
	if kind.By != ledger.ByNewcomer {
		return nil, fault(kind.NotThisWay())
	}
	if !bytes.Equal(e.Record().GetLedger(), r.ledgerID()) {
		return nil, fault(ledger.OtherLedger.About(""))
	}
	if err := r.room(kind); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, 2*defaultWait)
	defer cancel()
	done, no := r.tryJoin(e)
	if no != nil && code.Is(no, ledger.UnknownInvitation) && r.askAbout(ctx) {
		done, no = r.tryJoin(e)
	}
	if no != nil {
		return nil, refused(&recordv1.Outcome{Kind: "join", Signer: e.Record().GetSigner(), Conditions: []*recordv1.Finding{no}})
	}
	var index uint64
	if !done {
		outs, err := r.propose(ctx, [][]byte{ledger.DirectEntry(q.GetSigned())})
		if err != nil {
			return nil, failed(err)
		}
		if !outs[0].GetAccepted() {
			return nil, refused(outs[0])
		}
		index = outs[0].GetIndex()
	}
	founding, err := r.founding()
	if err != nil {
		return nil, status.Error(codes.Internal, err.Error())
	}
	// So that the answer names a yard that has just joined, perhaps the caller itself.
	_ = r.confirm(ctx)
	r.learn()
	return &servicev1.JoinResponse{Founding: founding, Yards: r.directory.infos(), Index: index, Id: e.Record().GetSigner()}, nil
}

// tryJoin says what stands against a joining, as this replica knows it. Strangers may
// make this call, so their bytes must not reach the log. It lets through only a record
// that is signed with the invitation's one-time key and with the new key. done means
// that this key has joined by the invitation already, and only the answer was lost.
func (r *Replica) tryJoin(e *ledger.Entry) (done bool, no *recordv1.Finding) {
	j, id := e.Record().GetJoin(), e.Record().GetSigner()
	now := r.now().UnixMilli()
	r.node.View(func(s *ledger.State, _ uint64) {
		var i recordv1.Invite
		inv := s.Invites[j.GetInvitation()]
		if inv == nil || proto.Unmarshal(inv.Whom, &i) != nil {
			no = ledger.UnknownInvitation.About(j.GetInvitation(), j.GetInvitation())
			return
		}
		signed := func(key []byte) bool {
			return slices.ContainsFunc(e.Keys(), func(k []byte) bool { return bytes.Equal(k, key) })
		}
		key, invited := s.KeyOf(j.GetKey()), i.GetPerson().GetId()+i.GetYard().GetId()
		switch {
		case !signed(i.GetOnceKey()) || !signed(j.GetKey()) || bytes.Equal(i.GetOnceKey(), j.GetKey()):
			no = ledger.JoinUnsigned.About(j.GetInvitation(), j.GetInvitation())
		case invited != id:
			no = ledger.InvitationForAnother.About(id, id, invited)
		case inv.Used && key != nil && key.Revoked == 0 && key.Person+key.Yard == id:
			done = true
		case inv.Used:
			no = ledger.InvitationUsed.About(j.GetInvitation(), j.GetInvitation())
		case max(now, s.Time) >= inv.Expires:
			no = ledger.InvitationExpired.About(j.GetInvitation(), j.GetInvitation(), inv.Expires)
		case key != nil:
			no = ledger.KeyInUse.About(id, seal.Fingerprint(j.GetKey()))
		}
	})
	return done, no
}
