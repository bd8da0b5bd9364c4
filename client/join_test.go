package client_test

import (
	"crypto/ed25519"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/token"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func invitation(h *history) *token.Token {
	return &token.Token{Ledger: h.id, Coop: "Three Forks Grain Co-op", Kind: token.Person, ID: "ben-ito", Invitation: "inv-1", Seed: keyOf("once").Seed(),
		ExpiresUnixMs: time.Now().Add(time.Hour).UnixMilli(),
		Yards:         []token.Peer{{ID: "eastfork", Address: "eastfork:7420", Key: keyOf("eastfork").Public().(ed25519.PublicKey)}}}
}

// What BuildJoin makes is what the ledger's own rules take.
func TestJoinIsTakenByTheLedger(t *testing.T) {
	h := newHistory(t)
	tok := invitation(h)
	once := tok.OnceKey().Public().(ed25519.PublicKey)
	invite := &recordv1.Record{Ledger: h.id, Signer: "mia-berg", Ticket: &recordv1.Ticket{Device: "office", Counter: 9}, CapturedUnixMs: 2,
		Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "inv-1", OnceKey: once, ExpiresUnixMs: tok.ExpiresUnixMs,
			Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: "ben-ito", Name: "Ben Ito", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}}}}}}
	h.add(t, ledger.DirectEntry(sign(t, "yardhasp record v1", invite, keyOf("mia"))))
	signed, err := client.BuildJoin(tok, keyOf("ben"), "", time.Now())
	if err != nil {
		t.Fatal(err)
	}
	h.add(t, ledger.DirectEntry(signed))
	if k := h.state.LiveKey("ben-ito"); k == nil || string(k.Public) != string(keyOf("ben").Public().(ed25519.PublicKey)) {
		t.Error("the ledger does not have ben-ito's key")
	}
}

func TestJoinPerson(t *testing.T) {
	h := newHistory(t)
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		tok := invitation(h)
		founding := h.founding
		n.yards["eastfork"].OnJoin = func(r *servicev1.JoinRequest) (*servicev1.JoinResponse, error) {
			return &servicev1.JoinResponse{Founding: founding, Id: "ben-ito", Yards: []*recordv1.YardInfo{
				{Id: "eastfork", Name: "East Fork", Address: "eastfork:7420", ReplicaKey: keyOf("eastfork").Public().(ed25519.PublicKey)},
				{Id: "millrow", Address: "millrow:7420", ReplicaKey: keyOf("millrow").Public().(ed25519.PublicKey)}}}, nil
		}
		_, end := n.start()
		defer end()
		p, err := client.JoinPerson(soon(t), tok, keyOf("ben"), client.WithDialer(n.dial))
		if err != nil {
			t.Fatal(err)
		}
		if p.Person != "ben-ito" || p.Yard != "eastfork" || len(p.Yards) != 2 || p.Coop != "Three Forks Grain Co-op" {
			t.Errorf("profile %+v", p)
		}
		// A yard that answers for another ledger than the invitation's is caught.
		founding = sign(t, "yardhasp founding v1", &recordv1.Founding{Coop: "another"}, keyOf("mia"))
		var tampered *client.Tampered
		if _, err := client.JoinPerson(soon(t), tok, keyOf("ben"), client.WithDialer(n.dial)); !errors.As(err, &tampered) {
			t.Errorf("error %v, want a *Tampered", err)
		}
		// Nobody is dialled with an invitation that is over.
		tok.ExpiresUnixMs = time.Now().UnixMilli()
		if _, err := client.JoinPerson(soon(t), tok, keyOf("ben"), client.WithDialer(n.dial)); !errors.Is(err, token.ErrExpired) {
			t.Errorf("error %v, want expired", err)
		}
	})
}

func TestCheckFoundingSignature(t *testing.T) {
	h := newHistory(t)
	if _, err := client.CheckFounding(h.founding, h.id); err != nil {
		t.Fatal(err)
	}
	var s recordv1.Signed
	if err := proto.Unmarshal(h.founding, &s); err != nil {
		t.Fatal(err)
	}
	s.Signatures[1].Signature[0] ^= 1
	bad, err := proto.Marshal(&s)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := client.CheckFounding(bad, h.id); err == nil {
		t.Error("a founding with a wrong signature passed")
	}
}
