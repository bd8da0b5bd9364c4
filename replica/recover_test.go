package replica_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// loseDisk stops a yard and prepares a fresh machine for it; it returns the record
// that takes the yard up there, signed by nia, ines and the fresh machine.
func (c *cluster) loseDisk(yard string, epoch uint64, locks ...*recordv1.WalkedLock) (signed []byte) {
	c.t.Helper()
	c.halt(yard)
	founding, err := os.ReadFile(filepath.Join(c.dirs["stonebend"], "founding"))
	if err != nil {
		c.t.Fatal(err)
	}
	dir, addr := filepath.Join(c.t.TempDir(), "fresh"), freeAddr(c.t)
	p := replica.Recovering{Dir: dir, Yard: yard, Listen: addr, Address: addr, Timers: "lan", Founding: founding, Ledger: c.id}
	for _, y := range c.yards {
		p.Yards = append(p.Yards, &recordv1.YardInfo{Id: y.ID, Name: y.Name, Address: y.Address, ReplicaKey: y.Key})
	}
	public, err := replica.PrepareRecovery(p)
	if err != nil {
		c.t.Fatal(err)
	}
	if _, err := replica.PrepareRecovery(p); err == nil {
		c.t.Error("a directory is prepared over another replica")
	}
	fresh, err := keys.Read(filepath.Join(dir, "replica.key"), nil)
	if err != nil {
		c.t.Fatal(err)
	}
	c.dirs[yard] = dir
	c.yards = slices.DeleteFunc(c.yards, func(y client.Yard) bool { return y.ID == yard })
	c.yards = append(c.yards, client.Yard{ID: yard, Name: yard, Address: addr, Key: public})
	for id, k := range c.conns {
		if strings.HasSuffix(id, "@"+yard) {
			k.Close()
			delete(c.conns, id)
		}
	}
	return c.sign("nia", &recordv1.Record{Act: &recordv1.Record_RecoverYard{RecoverYard: &recordv1.RecoverYard{Yard: yard, Second: "ines", Epoch: epoch,
		Key: public, Address: addr, OldMachineOff: true, Locks: locks}}}, c.keys["nia"], c.keys["ines"], fresh)
}

// votesAs reports whether raft counts a yard's vote under one id alone, that of a
// key: a lost disk never comes back under its old one.
func (c *cluster) votesAs(yard string, key []byte) bool {
	return slices.Equal(c.up["millrow"].VoterIDs()[yard], []string{seal.Fingerprint(key)})
}

// TestLostDiskComesBack: a yard loses its disk, a fresh machine takes its place as
// a new member with a journal of its own, and again for a second disk. The machine
// that was given up gets no quorum any more (protocol.md C8 to C12).
func TestLostDiskComesBack(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.joinPerson(&recordv1.Person{Id: "ines", Name: "Ines", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER}})
	c.joinPerson(&recordv1.Person{Id: "ravi", Name: "Ravi", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}})
	const point = "eastfork/mcc-2/auger"
	c.do("nia", "stonebend", actPoint(point))
	c.do("ravi", "eastfork", actIsolate(point))
	before := c.do("ravi", "eastfork", lockOn(point, "", "")).GetRef()
	givenUp, oldYards := c.dirs["eastfork"], slices.Clone(c.yards)

	for epoch := uint64(2); epoch <= 3; epoch++ {
		on := &recordv1.Target{On: &recordv1.Target_Point{Point: point}}
		signed := c.loseDisk("eastfork", epoch, &recordv1.WalkedLock{Target: on, Holder: "ravi"})
		c.start("eastfork") // it waits: nobody knows its key yet
		if _, err := c.raw("nia", "millrow").Submit(c.ctx(), &servicev1.SubmitRequest{Signed: signed}); err != nil {
			t.Fatal(err)
		}
		c.until("the fresh machine votes", func() bool { return c.votesAs("eastfork", c.yards[2].Key) })
		c.voters(3)
		rec := c.do("ravi", "eastfork", lockOn(point, "", ""))
		if want := ledger.Ref("eastfork", epoch, 1); rec.GetRef() != want || rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
			t.Fatalf("the first lock of the new journal: %s %v, want %s", rec.GetRef(), rec.GetStatus(), want)
		}
		// A restart opens the journal of that epoch, and nothing begins it anew.
		c.halt("eastfork")
		c.start("eastfork")
		c.until("a second lock", func() bool {
			rec, err := c.as("ravi", "eastfork").Submit(c.ctx(), lockOn(point, "", ""))
			return err == nil && rec.GetRef() == ledger.Ref("eastfork", epoch, 2)
		})
	}
	b, err := c.board("millrow", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil {
		t.Fatal(err)
	}
	standing := map[string]bool{}
	for _, h := range b.GetHolds() {
		standing[h.GetRef()] = true
	}
	for _, want := range []string{before, ledger.Ref("eastfork", 2, ledger.WalkedSeq), ledger.Ref("eastfork", 3, ledger.WalkedSeq), ledger.Ref("eastfork", 3, 2)} {
		if !standing[want] {
			t.Errorf("hold %s is not on the board: %v", want, standing)
		}
	}
	c.do("ravi", "eastfork", actRelease(ledger.Ref("eastfork", 2, ledger.WalkedSeq)))

	// The first machine is switched on again after all.
	old, err := replica.Open(replica.Config{Dir: givenUp, Logger: testLog("given up")})
	if err != nil {
		t.Fatal(err)
	}
	c.up["given up"] = old
	i := slices.IndexFunc(oldYards, func(y client.Yard) bool { return y.ID == "eastfork" })
	k, err := client.New(&client.Profile{Ledger: c.id, Person: "nia", Key: "-", Yard: "eastfork", Device: "old", Yards: oldYards[i : i+1]}, c.keys["nia"], client.NewMemoryTickets("old"))
	if err != nil {
		t.Fatal(err)
	}
	c.conns["nia@given up"] = k
	if _, err := k.Board(c.ctx(), servicev1.Consistency_CONSISTENCY_CONFIRMED, ""); err == nil {
		t.Error("the machine that was given up reads with a quorum")
	}
	if !c.votesAs("eastfork", c.yards[2].Key) {
		t.Error("the fresh machine lost its vote to the one that was given up")
	}
}
