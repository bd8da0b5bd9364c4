package demo

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/client/token"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const coopName = "Three Forks Grain Co-op"

// person is one of the cast. Their client asks the named yard first.
type person struct {
	yard, about string
	*recordv1.Person
}

// cast is invented. The manager, nia-okoro, founds the ledger.
func cast() []person {
	p := func(id, name, employer, yard, about string, qualified bool, roles ...recordv1.Role) person {
		return person{yard, about, &recordv1.Person{Id: id, Name: name, Employer: employer, Roles: roles, Qualified: qualified,
			TrainedUntilUnixMs: time.Now().AddDate(1, 0, 0).UnixMilli()}}
	}
	return []person{
		p("ravi", "Ravi", coopName, "stonebend", "mechanic at Stonebend, may test electrical parts", true, recordv1.Role_ROLE_AUTHORISED),
		p("tomas", "Tomas", coopName, "millrow", "mechanic at Millrow", false, recordv1.Role_ROLE_AUTHORISED),
		p("lena", "Lena", "Harrow Millwrights", "stonebend", "contractor from Harrow Millwrights", true, recordv1.Role_ROLE_CONTRACTOR),
		p("dov", "Dov", coopName, "stonebend", "runs the scale house: not to be surprised", false, recordv1.Role_ROLE_AFFECTED),
		p("mara", "Mara", coopName, "eastfork", "supervisor at Eastfork", false, recordv1.Role_ROLE_SUPERVISOR),
	}
}

// invite has nia invite somebody. She gives them the token in person.
func (s *story) invite(kind, id, first string, inv *recordv1.Invite) *token.Token {
	if s.err != nil {
		return nil
	}
	public, once, err := ed25519.GenerateKey(rand.Reader)
	if !s.must(err, "make a one-time key") {
		return nil
	}
	inv.Id, inv.OnceKey, inv.ExpiresUnixMs = "inv-"+id, public, time.Now().Add(time.Hour).UnixMilli()
	s.done("nia-okoro", "invited "+kind+" "+id, &recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}})
	t := &token.Token{Ledger: s.ledger, Coop: coopName, Kind: kind, ID: id, Invitation: inv.Id, Seed: once.Seed(), ExpiresUnixMs: inv.ExpiresUnixMs}
	for _, y := range s.who["nia-okoro"].Profile().Yards {
		peer := token.Peer{ID: y.ID, Address: y.Address, Key: y.Key}
		if t.Yards = append(t.Yards, peer); y.ID == first {
			t.Yards[0], t.Yards[len(t.Yards)-1] = peer, t.Yards[0]
		}
	}
	return t
}

// enrol redeems a token with a new key, and writes the person's profile.
func (s *story) enrol(p person, t *token.Token) {
	if s.err != nil {
		return
	}
	key, err := keys.Generate(rand.Reader)
	if !s.must(err, "make a key") {
		return
	}
	from := s.size()
	profile, err := client.JoinPerson(s.ctx, t, key, s.dialling(p.yard)...)
	if !s.must(err, p.GetId()+" joins") {
		return
	}
	profile.Yard = p.yard
	s.must(s.equip(p.GetId(), profile, key), "equip "+p.GetId())
	o := s.entryOf(p.GetId()+" joins", from, func(o *recordv1.Outcome) bool { return o.GetKind() == "join" && o.GetSigner() == p.GetId() })
	s.page.act(p.yard, p.GetId(), "joined: "+p.about, entry(o.GetIndex()), "CONFIRMED")
	s.expect(o.GetAccepted(), "%s joined: %v", p.GetId(), o.GetConditions())
}

// equip gives somebody a client, and a folder with profile, key and state.
func (s *story) equip(id string, p *client.Profile, key ed25519.PrivateKey) error {
	dir := filepath.Join(s.dir, "people", id)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	p.Key, p.Device = id+".key", "demo-"+id
	if _, err := os.Stat(filepath.Join(dir, p.Key)); errors.Is(err, os.ErrNotExist) {
		if err := keys.Write(filepath.Join(dir, p.Key), key, ""); err != nil {
			return err
		}
	}
	if err := p.Save(filepath.Join(dir, "profile.yaml")); err != nil {
		return err
	}
	c, err := s.newClient(p, key, filepath.Join(dir, "state"))
	if err != nil {
		return err
	}
	if old := s.who[id]; old != nil {
		_ = old.Close()
	}
	s.who[id] = c
	return nil
}

// newClient makes a client at the profile's yard.
func (s *story) newClient(p *client.Profile, key ed25519.PrivateKey, state string) (*client.Client, error) {
	tickets, err := client.NewFileTickets(state, p.Device)
	if err != nil {
		return nil, err
	}
	return client.New(p, key, tickets, append(s.dialling(p.Yard), client.WithState(state))...)
}

// dialling is how somebody at a yard connects.
func (s *story) dialling(yard string) []client.Option {
	n := s.fleet.net
	if n == nil {
		return nil
	}
	return []client.Option{client.WithConnectTimeout(time.Second), client.WithDialer(func(ctx context.Context, address string) (net.Conn, error) {
		return n.dial(ctx, yard, address)
	})}
}

// watchers gives nia one client for each yard. Each asks its own yard first.
func (s *story) watchers(p *client.Profile, key ed25519.PrivateKey) error {
	for _, y := range p.Yards {
		at := *p
		at.Yard = y.ID
		c, err := s.newClient(&at, key, filepath.Join(s.dir, "people", p.Person, "state-"+y.ID))
		if err != nil {
			return fmt.Errorf("a client at %s: %w", y.ID, err)
		}
		s.eyes[y.ID] = c
	}
	return nil
}
