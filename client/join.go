package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"yardhasp/client/token"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// BuildJoin makes the serialised Signed that redeems an invitation. Both the new key and
// the token's one-time key sign it. For a yard, address is where its replica is reached,
// host:port. For a person it is empty.
func BuildJoin(t *token.Token, key ed25519.PrivateKey, address string, now time.Time) ([]byte, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, errors.New("join: the new key is not a whole Ed25519 private key")
	}
	if err := t.Live(now); err != nil {
		return nil, err
	}
	return signRecord(&recordv1.Record{
		Ledger: t.Ledger, Signer: t.ID, Ticket: &recordv1.Ticket{Device: "join", Counter: 1}, CapturedUnixMs: now.UnixMilli(),
		Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: t.Invitation, Key: key.Public().(ed25519.PublicKey), Address: address}},
	}, key, t.OnceKey())
}

// CheckFounding checks that the hash of a Signed founding is the ledger's id, and that
// its signatures hold.
func CheckFounding(signed, ledgerID []byte) (*recordv1.Founding, error) {
	var s recordv1.Signed
	var f recordv1.Founding
	if proto.Unmarshal(signed, &s) != nil || proto.Unmarshal(s.GetBody(), &f) != nil {
		return nil, damaged("the founding record the yard sent can't be read: do not go on")
	}
	if sum := sha256.Sum256(s.GetBody()); !bytes.Equal(sum[:], ledgerID) {
		return nil, damaged("the yard's ledger is not the one of the invitation or profile: do not go on, ask who gave it to you")
	}
	for _, sig := range s.GetSignatures() {
		if !seal.Verify(seal.FoundingDomain, sig.GetKey(), s.GetBody(), sig.GetSignature()) {
			return nil, damaged("a signature of the founding record does not hold: do not go on")
		}
	}
	return &f, nil
}

// JoinPerson redeems an invitation for a person, with the person's new key, and returns
// the profile. Fill in Key and Device before saving it. Save the key before calling: the
// ledger may have it even when no answer comes. Only the options WithClock, WithDialer
// and WithConnectTimeout have an effect.
func JoinPerson(ctx context.Context, t *token.Token, key ed25519.PrivateKey, opts ...Option) (*Profile, error) {
	if t.Kind != token.Person {
		return nil, errors.New("join: the invitation is for a yard: redeem it with yardhaspd join, on the machine that will be its replica")
	}
	resp, f, err := redeem(ctx, t, key, "", opts)
	if err != nil {
		return nil, err
	}
	out := &Profile{Ledger: t.Ledger, Coop: f.GetCoop(), Person: t.ID, Yard: t.Yards[0].ID}
	for _, y := range resp.GetYards() {
		out.Yards = append(out.Yards, Yard{ID: y.GetId(), Name: y.GetName(), Address: y.GetAddress(), Key: y.GetReplicaKey()})
	}
	if len(out.Yards) == 0 {
		out.Yards = tokenYards(t)
	}
	if _, ok := out.YardByID(out.Yard); !ok {
		out.Yard = out.Yards[0].ID
	}
	return out, nil
}

// JoinYard redeems an invitation for a yard, with its replica's new key and the address
// where it will be reached, host:port. It checks the founding record of the answer
// against the token.
func JoinYard(ctx context.Context, t *token.Token, key ed25519.PrivateKey, address string, opts ...Option) (*servicev1.JoinResponse, error) {
	if t.Kind != token.Yard {
		return nil, errors.New("join: the invitation is for a person: redeem it with yardhasp join")
	}
	resp, _, err := redeem(ctx, t, key, address, opts)
	return resp, err
}

func redeem(ctx context.Context, t *token.Token, key ed25519.PrivateKey, address string, opts []Option) (*servicev1.JoinResponse, *recordv1.Founding, error) {
	c := &Client{key: key, now: time.Now, connect: 3 * time.Second, conns: map[string]*grpc.ClientConn{}, profile: &Profile{Yards: tokenYards(t)}}
	for _, o := range opts {
		o(c)
	}
	defer c.Close()
	signed, err := BuildJoin(t, key, address, c.now())
	if err != nil {
		return nil, nil, err
	}
	resp, err := c.joinAt(ctx, signed)
	if err != nil {
		return nil, nil, err
	}
	f, err := CheckFounding(resp.GetFounding(), t.Ledger)
	return resp, f, err
}

func tokenYards(t *token.Token) []Yard {
	var out []Yard
	for _, p := range t.Yards {
		out = append(out, Yard{ID: p.ID, Address: p.Address, Key: p.Key})
	}
	return out
}

// joinAt sends the same bytes to one yard after another. That is safe, because joining
// goes straight to the quorum, which takes an invitation once.
func (c *Client) joinAt(ctx context.Context, signed []byte) (*servicev1.JoinResponse, error) {
	var tried []Attempt
	var unknown *UnknownOutcome
	for _, y := range c.order() {
		resp, err := askOne(ctx, c, y, 1, func(ctx context.Context, conn *grpc.ClientConn) (*servicev1.JoinResponse, error) {
			return servicev1.NewMembershipServiceClient(conn).Join(ctx, &servicev1.JoinRequest{Signed: signed})
		})
		if err == nil {
			return resp, nil
		}
		var far *notConnected
		var answer *Answer
		var refused *Refused
		switch {
		case errors.As(err, &far):
		case errors.As(err, &answer) && (answer.Reason == ReasonNoQuorum || answer.Reason == ReasonNotServing):
		case errors.As(err, &refused) && unknown != nil && (refused.Has(ledger.InvitationUsed, ledger.KeyInUse)):
			return nil, fmt.Errorf("join: the invitation was taken, but the answer got lost: keep the new key and ask a manager for the yards' addresses: %w", unknown)
		case errors.As(err, &refused) || errors.As(err, &answer) && answer.Reason != ReasonOutcomeUnknown:
			return nil, err
		default:
			unknown = &UnknownOutcome{Ticket: &recordv1.Ticket{Device: "join", Counter: 1}, Yard: y.ID, Err: err}
		}
		tried = append(tried, Attempt{y.ID, err})
	}
	if unknown != nil {
		return nil, unknown
	}
	return nil, &Unreachable{tried}
}
