package replica_test

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/token"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// TestInvitations: an invitation works once, for one, in one ledger; whatever
// else comes leaves no leaf, since joining is open to strangers.
func TestInvitations(t *testing.T) {
	t.Parallel()
	c := found(t)
	c.until("a founded ledger", func() bool {
		_, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil
	})
	c.keys["lena"], c.keys["mara"] = testKey("lena"), testKey("mara")
	person := func(id string) *recordv1.Invite {
		return &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: id, Name: id, Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}}}}
	}
	tok := c.invite(token.Person, "lena", person("lena"))
	text, err := token.Encode(tok)
	if err != nil {
		t.Fatal(err)
	}
	size := c.size("stonebend")
	refusedFor := func(name string, want code.Code, err error) {
		t.Helper()
		if no, ok := asRefused(err); !ok || !no.Has(want) {
			t.Errorf("%s: %v, want %s", name, err, want)
		}
		if now := c.size("stonebend"); now != size {
			t.Errorf("%s left %d leaves", name, now-size)
			size = now
		}
	}

	flipped := []byte(text)
	flipped[len(text)/2] ^= 1
	if _, err := token.Decode(string(flipped)); err == nil {
		t.Error("a flipped invitation is taken")
	}
	if _, err := replica.Join(c.ctx(), replica.Joining{Dir: t.TempDir(), Listen: freeAddr(t), Timers: "lan", Token: text}); err == nil || !strings.Contains(err.Error(), "for a person") {
		t.Errorf("a person's invitation used for a yard: %v", err)
	}
	join := func(signer, invitation string, ledger []byte, key string, with ...string) error {
		rec := &recordv1.Record{Ledger: ledger, Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: invitation, Key: public(testKey(key))}}}
		keys := []string{key}
		keys = append(keys, with...)
		ks := c.sign(signer, rec, testKey(keys[0]))
		if len(keys) > 1 {
			ks = c.sign(signer, rec, testKey(keys[0]), testKey(keys[1]))
		}
		_, err := servicev1.NewMembershipServiceClient(c.dial(testKey(key), "stonebend")).Join(c.ctx(), &servicev1.JoinRequest{Signed: ks})
		return decodeRefused(err)
	}
	refusedFor("without the one-time key", "JOIN_UNSIGNED", join("lena", "inv-lena", nil, "lena"))
	refusedFor("with another one-time key", "JOIN_UNSIGNED", join("lena", "inv-lena", nil, "lena", "once mara"))
	refusedFor("for somebody else", "INVITATION_FOR_ANOTHER", join("mara", "inv-lena", nil, "mara", "once lena"))
	refusedFor("unknown", "UNKNOWN_INVITATION", join("mara", "inv-mara", nil, "mara", "once mara"))
	refusedFor("for another ledger", "OTHER_LEDGER", join("lena", "inv-lena", make([]byte, 32), "lena", "once lena"))
	refusedFor("with a manager's key", "KEY_IN_USE", join("lena", "inv-lena", nil, "nia", "once lena"))

	if _, err := client.JoinPerson(c.ctx(), tok, c.keys["lena"]); err != nil {
		t.Fatal(err)
	}
	size = c.size("stonebend")
	if _, err := client.JoinPerson(c.ctx(), tok, c.keys["lena"]); err != nil {
		t.Errorf("the same joining again, as after a lost answer: %v", err)
	}
	_, err = client.JoinPerson(c.ctx(), tok, c.keys["mara"])
	refusedFor("used twice", "INVITATION_USED", err)

	short := person("mara")
	short.Id, short.OnceKey, short.ExpiresUnixMs = "inv-mara", public(testKey("once mara")), time.Now().Add(1500*time.Millisecond).UnixMilli()
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_Invite{Invite: proto.Clone(short).(*recordv1.Invite)}})
	c.until("its end", func() bool { return time.Now().UnixMilli() > short.ExpiresUnixMs })
	size = c.size("stonebend")
	refusedFor("expired", "INVITATION_EXPIRED", join("mara", "inv-mara", nil, "mara", "once mara"))
}

// decodeRefused gives the outcome in a status as the client does.
func decodeRefused(err error) error {
	for _, d := range statusDetails(err) {
		if o, ok := d.(*recordv1.Outcome); ok {
			return &client.Refused{Outcome: o}
		}
	}
	return err
}

// TestYardJoinsAgain: a yard whose joining was cut short goes on with its key.
func TestYardJoinsAgain(t *testing.T) {
	t.Parallel()
	c := found(t)
	c.until("a founded ledger", func() bool {
		_, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil
	})
	tok := c.invite(token.Yard, "millrow", &recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: "millrow", Name: "Millrow"}}})
	text, err := token.Encode(tok)
	if err != nil {
		t.Fatal(err)
	}
	dir, addr := filepath.Join(t.TempDir(), "data"), freeAddr(t)
	j := replica.Joining{Dir: dir, Listen: addr, Address: addr, Timers: "lan", Token: text}
	if _, err := replica.Join(c.ctx(), j); err != nil {
		t.Fatal(err)
	}
	if _, err := replica.Join(c.ctx(), j); err == nil || !strings.Contains(err.Error(), "holds a replica already") {
		t.Errorf("joining over a replica: %v", err)
	}
	remove(t, filepath.Join(dir, "replica.yaml"))
	s, err := replica.Join(c.ctx(), j)
	if err != nil || s.Name != "Millrow" {
		t.Fatalf("the joining that was cut short: %v %v", s, err)
	}
	j.Dir = filepath.Join(t.TempDir(), "other")
	if _, err := replica.Join(c.ctx(), j); err == nil {
		t.Error("a second machine joins as the same yard")
	}
	c.dirs["millrow"] = dir
	c.learn("millrow", addr)
	c.start("millrow")
	c.voters(2)
	_, err = c.submitAt("nia", "millrow", 0, actPadlock("n-1", "nia"))
	if err != nil {
		t.Errorf("through the new yard: %v", err)
	}
	_, err = c.submitAt("nia", "millrow", 0, actPadlock("n-1", "nia"))
	c.wantErr(err, codes.AlreadyExists, string(ledger.PadlockExists))
}
