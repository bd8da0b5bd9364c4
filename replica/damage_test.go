package replica_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/token"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

func statusDetails(err error) []any { return status.Convert(err).Details() }

func remove(t testing.TB, path string) {
	t.Helper()
	if _, err := os.Stat(path); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(path); err != nil {
		t.Fatal(err)
	}
}

// refuseStart opens a yard's directory and wants a sentence.
func (c *cluster) refuseStart(yard, sentence string) {
	c.t.Helper()
	r, err := replica.Open(replica.Config{Dir: c.dirs[yard]})
	if err == nil {
		c.t.Errorf("%s starts, want %q", yard, sentence)
		r.Close()
		return
	}
	if !strings.Contains(err.Error(), sentence) {
		c.t.Errorf("%s: %v, want %q", yard, err, sentence)
	}
}

// one is a ledger of stonebend alone, with a record in its journal.
func one(t testing.TB, how ...func(*cluster)) *cluster {
	c := found(t, how...)
	c.until("a founded ledger", func() bool {
		_, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil
	})
	c.do("nia", "stonebend", actPoint(fanOne))
	c.do("nia", "stonebend", actIsolate(fanOne))
	c.do("nia", "stonebend", lockOn(fanOne, "", ""))
	return c
}

// TestInUse: a data directory has one process.
func TestInUse(t *testing.T) {
	t.Parallel()
	c := one(t)
	c.refuseStart("stonebend", "in use")
}

// TestLostFiles: a replica that lost what it had acknowledged does not begin
// anew under its old name (decisions.md 7, libraries.md R21).
func TestLostFiles(t *testing.T) {
	t.Parallel()
	for name, w := range map[string]struct {
		harm     func(dir string)
		sentence string
	}{
		"journal cut short": {func(dir string) {
			p := filepath.Join(dir, "journal", "journal")
			b, err := os.ReadFile(p)
			if err != nil {
				t.Fatal(err)
			}
			b = b[:len(strings.TrimRight(string(b), "\x00"))-100]
			if err := os.WriteFile(p, b, 0o600); err != nil {
				t.Fatal(err)
			}
		}, "recover the yard with a walkdown"},
		"journal gone":       {func(dir string) { remove(t, filepath.Join(dir, "journal")) }, "treat it as disk loss"},
		"log gone":           {func(dir string) { remove(t, filepath.Join(dir, "raft")) }, "treat it as disk loss"},
		"log and mark gone":  {func(dir string) { remove(t, filepath.Join(dir, "raft")); remove(t, filepath.Join(dir, "raft.mark")) }, "treat it as disk loss"},
		"founding gone":      {func(dir string) { remove(t, filepath.Join(dir, "founding")) }, "founding record is missing"},
		"another's founding": {func(dir string) { _ = os.WriteFile(filepath.Join(dir, "founding"), []byte{10, 1, 65}, 0o600) }, "founds another ledger"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := one(t)
			c.halt("stonebend")
			w.harm(c.dirs["stonebend"])
			c.refuseStart("stonebend", w.sentence)
		})
	}
}

// TestClockJumpsBack: ledger time never runs backwards, and the journal marks its
// clock as doubtful (design.md, "Offline records").
func TestClockJumpsBack(t *testing.T) {
	t.Parallel()
	var back atomic.Int64
	c := one(t, func(c *cluster) {
		c.tune = func(cfg *replica.Config) {
			cfg.Now = func() time.Time { return time.Now().Add(-time.Duration(back.Load())) }
		}
	})
	back.Store(int64(time.Hour))
	c.do("nia", "stonebend", lockOn(fanOne, "", ""))
	back.Store(0)
	c.do("nia", "stonebend", lockOn(fanOne, "", ""))
	var last int64
	var doubts []bool
	for i, raw := range c.same(c.size("stonebend"), "stonebend") {
		var e recordv1.Entry
		var s recordv1.Sealed
		var env recordv1.Envelope
		if err := proto.Unmarshal(raw, &e); err != nil {
			t.Fatal(err)
		}
		if e.GetTimeUnixMs() < last {
			t.Errorf("entry %d is stamped %d ms before the one before it", i, last-e.GetTimeUnixMs())
		}
		last = e.GetTimeUnixMs()
		if e.GetJournal() == nil {
			continue
		}
		if proto.Unmarshal(e.GetJournal(), &s) != nil || proto.Unmarshal(s.GetEnvelope(), &env) != nil {
			t.Fatal("no envelope")
		}
		doubts = append(doubts, env.GetClockDoubt())
	}
	if want := []bool{false, false, true, false}; len(doubts) != 4 || doubts[2] != want[2] || doubts[0] || doubts[1] || doubts[3] {
		t.Errorf("clock doubts %v, want %v", doubts, want)
	}
	if last < time.Now().Add(-time.Minute).UnixMilli() {
		t.Error("the ledger's time followed the clock back")
	}
}

// TestInviteNeedsQuorum: with no quorum a joining reaches nobody's log later.
func TestInviteNeedsQuorum(t *testing.T) {
	t.Parallel()
	c := three(t)
	tok := c.invite(token.Person, "lena", &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: "lena", Name: "Lena", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}}}})
	c.size("millrow")
	c.halt("stonebend")
	c.halt("eastfork")
	c.cutOff("millrow")
	rec := &recordv1.Record{Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: tok.Invitation, Key: public(testKey("lena"))}}}
	signed := c.sign("lena", rec, testKey("lena"), testKey("once lena"))
	_, err := servicev1.NewMembershipServiceClient(c.dial(testKey("lena"), "millrow")).Join(c.ctx(), &servicev1.JoinRequest{Signed: signed})
	if reason(err) != client.ReasonNoQuorum {
		t.Errorf("joining without a quorum: %v", err)
	}
}
