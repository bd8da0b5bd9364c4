package replica_test

import (
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// TestBadInput: what can never be a record is refused and leaves no leaf.
func TestBadInput(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	unsigned := func(m proto.Message) []byte {
		var s recordv1.Signed
		if err := proto.Unmarshal(c.sign("ravi", m.(*recordv1.Record)), &s); err != nil {
			t.Fatal(err)
		}
		s.Signatures = nil
		return c.marshal(&s)
	}
	flipped := c.sign("ravi", lockOn(legOne, "", ""))
	flipped[len(flipped)-1] ^= 1
	newer := lockOn(legOne, "", "")
	newer.ProtoReflect().SetUnknown([]byte{0xf8, 0x7f, 0x01}) // field 2047, a number; protobuf encoding
	other := lockOn(legOne, "", "")
	other.Ledger = make([]byte, 32)
	nameless := lockOn("millrow/leg", "", "")
	expire := &recordv1.Record{Act: &recordv1.Record_Expire{Expire: &recordv1.Expire{Request: "start-1"}}}
	size := c.size("eastfork")
	for name, w := range map[string]struct {
		signed []byte
		code   codes.Code
		reason code.Code
	}{
		"nothing":         {nil, codes.Unauthenticated, ledger.Unsigned},
		"noise":           {[]byte("a lock, please"), codes.InvalidArgument, ledger.Malformed},
		"unsigned":        {unsigned(lockOn(legOne, "", "")), codes.Unauthenticated, ledger.Unsigned},
		"changed":         {flipped, codes.Unauthenticated, ledger.BadSignature},
		"newer release":   {c.sign("ravi", newer), codes.InvalidArgument, client.ReasonNewerRelease},
		"another ledger":  {c.sign("ravi", other), codes.FailedPrecondition, ledger.OtherLedger},
		"bad name":        {c.sign("ravi", nameless), codes.InvalidArgument, ledger.BadField},
		"no act":          {c.sign("ravi", &recordv1.Record{}), codes.InvalidArgument, ledger.Empty},
		"expiry":          {c.sign("ravi", expire), codes.FailedPrecondition, ledger.WrongWay},
		"another's name":  {c.sign("nia", lockOn(legOne, "", ""), c.keys["ravi"]), codes.Unauthenticated, ledger.NotTheSigner},
		"unknown point":   {c.sign("ravi", lockOn("millrow/panel-9/none", "", "")), codes.NotFound, ledger.UnknownPoint},
		"too long":        {make([]byte, ledger.MaxEntryBytes+1), codes.InvalidArgument, ledger.EntryTooLarge},
		"not at its home": {c.sign("ravi", actIsolate(legOne)), codes.FailedPrecondition, client.ReasonNotHome},
	} {
		_, err := c.raw("ravi", "stonebend").Submit(c.ctx(), &servicev1.SubmitRequest{Signed: w.signed})
		if t.Log(name); err == nil {
			t.Errorf("%s: accepted", name)
		}
		c.wantErr(err, w.code, w.reason)
	}
	if now := c.size("eastfork"); now != size {
		t.Errorf("bad input left %d leaves", now-size)
	}
	// Well formed, and refused by the rules: a leaf that says so.
	_, err := c.submitAt("ravi", "eastfork", 0, actRelease("millrow/1/99"))
	c.wantErr(err, codes.NotFound, ledger.UnknownHold)
	_, err = c.submitAt("ravi", "eastfork", 0, actPadlock("r-9", "ravi"))
	c.wantErr(err, codes.PermissionDenied, ledger.NotPermitted)
	if now := c.size("eastfork"); now != size+2 {
		t.Errorf("two refusals by the rules left %d leaves", now-size)
	}
}

// TestReplay: the same bytes again get the same answer, and nothing is recorded
// twice at one yard (decisions.md 10).
func TestReplay(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	lock, padlock := c.sign("ravi", lockOn(legOne, "", "")), actPadlock("n-1", "nia")
	direct := c.sign("nia", padlock)
	again := func(signed []byte, yards ...string) {
		t.Helper()
		first, err := c.raw("ravi", yards[0]).Submit(c.ctx(), &servicev1.SubmitRequest{Signed: signed})
		if err != nil {
			t.Fatal(err)
		}
		size := c.size("eastfork")
		for _, y := range yards {
			res, err := c.raw("ravi", y).Submit(c.ctx(), &servicev1.SubmitRequest{Signed: signed})
			if err != nil {
				t.Fatalf("again at %s: %v", y, err)
			}
			r, f := res.GetReceipt(), first.GetReceipt()
			if !r.GetRepeatedTicket() || f.GetRepeatedTicket() || r.GetStatus() != f.GetStatus() || r.GetRef() != f.GetRef() || r.GetOutcome().GetIndex() != f.GetOutcome().GetIndex() {
				t.Errorf("again at %s: %v, first %v", y, r, f)
			}
		}
		if now := c.size("eastfork"); now != size {
			t.Errorf("a repeat left %d leaves", now-size)
		}
	}
	again(lock, "millrow")
	again(direct, "stonebend", "stonebend")
	// The same ticket on another act is not the first one's answer.
	other := actPadlock("n-2", "nia")
	other.Ticket = padlock.Ticket
	_, err := c.submitAt("nia", "stonebend", 0, other)
	c.wantErr(err, codes.AlreadyExists, ledger.TicketRepeated)
	// At another yard the same direct entry gets its recorded answer, too.
	res, err := c.raw("nia", "eastfork").Submit(c.ctx(), &servicev1.SubmitRequest{Signed: direct})
	if err != nil || !res.GetReceipt().GetRepeatedTicket() {
		t.Errorf("the same entry at another yard: %v %v", res, err)
	}
}

// TestWhoMayCall: by the key of the connection alone.
func TestWhoMayCall(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	size := c.size("millrow")
	peer := func(name string) servicev1.PeerServiceClient {
		return servicev1.NewPeerServiceClient(c.dial(testKey(name), "millrow"))
	}
	_, err := peer("ravi").ReadIndex(c.ctx(), &servicev1.ReadIndexRequest{})
	c.wantErr(err, codes.PermissionDenied, "")
	_, err = peer("ravi").Propose(c.ctx(), &servicev1.ProposeRequest{Entries: [][]byte{ledger.DirectEntry(c.sign("ravi", actPadlock("x", "ravi")))}})
	c.wantErr(err, codes.PermissionDenied, "")
	_, err = peer("ravi").Promote(c.ctx(), &servicev1.PromoteRequest{Yard: "eastfork"})
	c.wantErr(err, codes.PermissionDenied, "")
	_, err = peer("stranger").Propose(c.ctx(), &servicev1.ProposeRequest{})
	c.wantErr(err, codes.Unauthenticated, replica.KeyNotEnrolled)

	barred := func(name string) {
		t.Helper()
		conn := c.dial(testKey(name), "millrow")
		l, m := servicev1.NewLedgerServiceClient(conn), servicev1.NewMembershipServiceClient(conn)
		_, err := l.GetBoard(c.ctx(), &servicev1.GetBoardRequest{})
		c.wantErr(err, codes.Unauthenticated, replica.KeyNotEnrolled)
		_, err = l.Submit(c.ctx(), &servicev1.SubmitRequest{Signed: c.sign("ravi", lockOn(legOne, "", ""))})
		c.wantErr(err, codes.Unauthenticated, replica.KeyNotEnrolled)
		_, err = m.GetMembers(c.ctx(), &servicev1.GetMembersRequest{})
		c.wantErr(err, codes.Unauthenticated, replica.KeyNotEnrolled)
		st, err := l.Watch(c.ctx(), &servicev1.WatchRequest{})
		if err == nil {
			_, err = st.Recv()
		}
		c.wantErr(err, codes.Unauthenticated, replica.KeyNotEnrolled)
		// The two that are open to anybody.
		if _, err := grpc_health_v1.NewHealthClient(conn).Check(c.ctx(), &grpc_health_v1.HealthCheckRequest{}); err != nil {
			t.Errorf("health for %s: %v", name, err)
		}
		_, err = m.Join(c.ctx(), &servicev1.JoinRequest{Signed: []byte("noise")})
		c.wantErr(err, codes.InvalidArgument, ledger.Malformed)
	}
	barred("stranger")
	if now := c.size("millrow"); now != size {
		t.Errorf("strangers left %d leaves", now-size)
	}

	// A watch that was open when its key was revoked ends.
	st, err := c.raw("ravi", "millrow").Watch(c.ctx(), &servicev1.WatchRequest{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := st.Recv(); err != nil {
		t.Fatal(err)
	}
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "ravi", Key: public(c.keys["ravi"]), Why: "lost"}}})
	for err == nil {
		_, err = st.Recv()
	}
	c.wantErr(err, codes.Unauthenticated, replica.KeyNotEnrolled)
	barred("ravi")
}
