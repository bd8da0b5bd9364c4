package replica_test

import (
	"crypto/ed25519"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// together has several people and a new key, if any, sign one act, and sends it
// through a yard.
func (c *cluster) together(yard string, act *recordv1.Record, newKey ed25519.PrivateKey, people ...string) (*servicev1.Receipt, error) {
	c.t.Helper()
	d, err := c.as(people[0], yard).NewDraft(act)
	for _, p := range people[1:] {
		if err == nil {
			err = c.as(p, yard).Countersign(d)
		}
	}
	if newKey != nil && err == nil {
		err = d.CountersignNewKey(newKey)
	}
	if err != nil {
		c.t.Fatal(err)
	}
	return c.as(people[len(people)-1], yard).Send(c.ctx(), d)
}

func (c *cluster) taken(yard string, act *recordv1.Record, newKey ed25519.PrivateKey, people ...string) {
	c.t.Helper()
	rec, err := c.together(yard, act, newKey, people...)
	if err != nil || rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
		c.t.Fatalf("%v at %s: %v %v", people, yard, rec, err)
	}
}

// rekey makes a person's clients use another key from now on.
func (c *cluster) rekey(person string, key ed25519.PrivateKey) {
	for id, k := range c.conns {
		if strings.HasPrefix(id, person+"@") {
			k.Close()
			delete(c.conns, id)
		}
	}
	c.keys[person] = key
}

// confirmed is the confirmed board of one yard.
func (c *cluster) confirmed(yard string) *recordv1.Board {
	c.t.Helper()
	b, err := c.board(yard, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil || !b.GetAsOf().GetConfirmed() || b.GetAsOf().GetYard() != yard {
		c.t.Fatalf("no confirmed board of %s: %v %v", yard, b.GetAsOf(), err)
	}
	return b
}

// holder names who holds a lock at a yard's confirmed board; on is false when
// there is no such lock.
func (c *cluster) holder(yard, ref string) (who string, on bool) {
	c.t.Helper()
	for _, h := range c.confirmed(yard).GetHolds() {
		if h.GetRef() == ref {
			return h.GetHolder(), true
		}
	}
	return "", false
}

func (c *cluster) wantHolder(yard, ref, want string) {
	c.t.Helper()
	who, on := c.holder(yard, ref)
	if on != (want != "") || who != want {
		c.t.Errorf("%s shows the lock %s on: %v, of %q; want %q", yard, ref, on, who, want)
	}
}

// alarms counts the alarms of a code on a yard's confirmed board.
func (c *cluster) alarms(yard string, want code.Code) (n int) {
	c.t.Helper()
	for _, a := range c.confirmed(yard).GetAlarms() {
		if code.Is(a, want) {
			n++
		}
	}
	return n
}

// stops reports whether a condition stands against work on a job, as a yard has it.
func (c *cluster) stops(yard, job string, want code.Code) bool {
	c.t.Helper()
	res, err := c.raw("nia", yard).GetJob(c.ctx(), &servicev1.GetJobRequest{Job: job, Consistency: servicev1.Consistency_CONSISTENCY_CONFIRMED})
	if err != nil {
		c.t.Fatal(err)
	}
	return code.Has(res.GetJob().GetToStart(), want)
}

func wantRefused(t *testing.T, rec *servicev1.Receipt, err error, want code.Code) {
	t.Helper()
	if r, ok := asRefused(err); !ok || !r.Has(want) {
		t.Errorf("%v, %v: want %s", rec, err, want)
	}
}

// TestPeopleAndKeys: what several people order, and what becomes of keys, at three
// yards: each entered at one yard and looked at from another.
func TestPeopleAndKeys(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn()
	c.joinPerson(&recordv1.Person{Id: "olga", Name: "Olga", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER}})
	for _, part := range []struct {
		name string
		run  func(*testing.T, *cluster)
	}{{"removal", removal}, {"hand-over", handOver}, {"claim", claim}, {"started", started}, {"replaced", replaced}, {"reissued", reissued}, {"revoked", revoked}} {
		ok := t.Run(part.name, func(t *testing.T) {
			c.t = t
			part.run(t, c)
		})
		c.t = t
		if !ok {
			return // what comes after rests on it
		}
	}
}

// 1910.147(e)(3): the employer may direct the removal of an absent person's lock;
// that person knows of it before working again. Two managers: design.md, rule 2.
func removal(t *testing.T, c *cluster) {
	ref := c.do("ravi", "stonebend", lockOn(feeder, "", "boot-1")).GetRef()
	act := func() *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: place(ref), Second: "olga",
			NotHere: "looked through both yards", TriedToReach: "rang twice, asked at home"}}}
	}
	_, err := c.submitAt("nia", "millrow", 5000, act())
	if err == nil {
		t.Error("one manager alone removed a lock")
	}
	c.wantHolder("eastfork", ref, "ravi")
	c.taken("eastfork", act(), nil, "nia", "olga")
	c.wantHolder("millrow", ref, "")
	c.wantHolder("stonebend", ref, "")
	if n := c.alarms("millrow", ledger.NotAcknowledged); n != 1 {
		t.Errorf("%d alarms at millrow say that ravi must be told", n)
	}
	if !c.stops("stonebend", "boot-1", ledger.NotAcknowledged) {
		t.Error("ravi's work is not stopped at stonebend")
	}
	told := func() *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_AcknowledgeRemoval{AcknowledgeRemoval: &recordv1.AcknowledgeRemoval{Hold: place(ref)}}}
	}
	c.refuse("olga", "millrow", ledger.NotYourRemoval, told())
	c.do("ravi", "millrow", told())
	if n := c.alarms("eastfork", ledger.NotAcknowledged); n != 0 || c.stops("eastfork", "boot-1", ledger.NotAcknowledged) {
		t.Error("eastfork does not know that ravi was told")
	}
}

// 1910.147(f)(4): protection passes without a gap. All pairs or none
// (decisions.md 21).
func handOver(t *testing.T, c *cluster) {
	on := func(person, point string) string {
		return c.do(person, "eastfork", lockOn(point, "", "boot-1")).GetRef()
	}
	a1, a2 := on("ravi", feeder), on("ravi", second)
	b1, b2 := on("lena", feeder), on("lena", second)
	pairs := func(p ...string) *recordv1.Record {
		h := &recordv1.HandOver{Others: []string{"lena"}}
		for i := 0; i < len(p); i += 2 {
			h.Pairs = append(h.Pairs, &recordv1.HandOver_Pair{Off: place(p[i]), On: place(p[i+1])})
		}
		return &recordv1.Record{Act: &recordv1.Record_HandOver{HandOver: h}}
	}
	rec, err := c.together("millrow", pairs(a1, b1, a2, b1), nil, "ravi", "lena") // the second pair leaves a gap
	wantRefused(t, rec, err, ledger.OtherTarget)
	c.wantHolder("eastfork", a1, "ravi")
	c.taken("millrow", pairs(a1, b1, a2, b2), nil, "ravi", "lena")
	for ref, want := range map[string]string{a1: "", a2: "", b1: "lena", b2: "lena"} {
		c.wantHolder("stonebend", ref, want)
		c.wantHolder("eastfork", ref, want)
	}
	c.do("lena", "eastfork", actRelease(b1))
	c.wantHolder("millrow", b1, "")
	c.do("lena", "stonebend", actRelease(b2))
	c.wantHolder("eastfork", b2, "")
}

// A lock seen hanging is nobody's until its owner says so before a witness; then
// only its owner takes it off (design.md, the fine print).
func claim(t *testing.T, c *cluster) {
	rec, err := c.submitAt("ravi", "eastfork", 5000, &recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{
		Target: &recordv1.Target{On: &recordv1.Target_Point{Point: second}}, Seen: "a brass lock, no tag"}}})
	if err != nil {
		t.Fatal(err)
	}
	ref := rec.GetRef()
	if who, on := c.holder("millrow", ref); !on || who != "" {
		t.Errorf("the found lock at millrow: on %v, of %q", on, who)
	}
	c.refuse("lena", "stonebend", ledger.NotClaimed, actRelease(ref))
	own := func(witness string) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_ClaimLock{ClaimLock: &recordv1.ClaimLock{Hold: place(ref), Witness: witness}}}
	}
	rec, err = c.together("millrow", own("ravi"), nil, "lena", "ravi")
	wantRefused(t, rec, err, ledger.WitnessMayNot)
	c.taken("millrow", own("olga"), nil, "lena", "olga")
	c.wantHolder("eastfork", ref, "lena")
	c.refuse("ravi", "eastfork", ledger.NotYourLock, actRelease(ref))
	c.do("lena", "stonebend", actRelease(ref))
	c.wantHolder("eastfork", ref, "")
}

// A start made without the ledger is raised at every yard, is never shown as
// approved, and stops work (design.md, the fine print).
func started(t *testing.T, c *cluster) {
	rec, err := c.submitAt("dov", "eastfork", 5000, &recordv1.Record{Act: &recordv1.Record_FoundStarted{FoundStarted: &recordv1.FoundStarted{
		Points: []string{feeder}, What: "the leg was running at noon"}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		if n := c.alarms(y, ledger.FoundStarted); n != 1 {
			t.Errorf("%d alarms of the start at %s", n, y)
		}
		if !c.stops(y, "boot-1", ledger.FoundStarted) {
			t.Errorf("work may go on as %s has it", y)
		}
		for _, q := range c.confirmed(y).GetRequests() {
			t.Errorf("%s shows a request: %v", y, q)
		}
	}
	mend := func() *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_CorrectFoundLive{CorrectFoundLive: &recordv1.CorrectFoundLive{Found: place(rec.GetRef()), Cause: "a jumper in the control box, taken off"}}}
	}
	c.refuse("ravi", "millrow", ledger.NotPermitted, mend())
	if n := c.alarms("millrow", ledger.FoundStarted); n != 1 {
		t.Errorf("%d alarms after somebody unqualified called it mended", n)
	}
	c.do("nia", "millrow", mend())
	if n := c.alarms("stonebend", ledger.FoundStarted); n != 0 || c.stops("eastfork", "boot-1", ledger.FoundStarted) {
		t.Error("the start stays raised after its cause was corrected")
	}
}

// A key whose change the old key signed ends what the old one began (protocol.md
// 3.3); the old one ends nothing any more.
func replaced(t *testing.T, c *cluster) {
	old, fresh := c.keys["lena"], testKey("lena, a new tablet")
	a := c.do("lena", "stonebend", lockOn(feeder, "", "boot-1")).GetRef()
	if _, err := c.as("lena", "eastfork").ReplaceKey(c.ctx(), fresh); err != nil {
		t.Fatal(err)
	}
	c.confirmed("millrow") // so that millrow has heard of it
	_, err := c.raw("nia", "millrow").Submit(c.ctx(), &servicev1.SubmitRequest{Signed: c.sign("lena", actRelease(a), old), WaitMs: 5000})
	if status.Code(err) == codes.OK {
		t.Error("the old key took a lock off at millrow")
	}
	c.wantHolder("eastfork", a, "lena")
	c.rekey("lena", fresh)
	if _, err := c.submitAt("lena", "millrow", 5000, actRelease(a)); err != nil {
		t.Fatalf("the new key can't take off what the old one put on: %v", err)
	}
	c.wantHolder("eastfork", a, "")
}

// A key that a manager gave ends nothing that was on before it: that would be the
// manager's release (protocol.md 3.3).
func reissued(t *testing.T, c *cluster) {
	lost, fresh := c.keys["lena"], testKey("lena, after a fire")
	a := c.do("lena", "millrow", lockOn(second, "", "boot-1")).GetRef()
	c.taken("stonebend", &recordv1.Record{Act: &recordv1.Record_ReissueKey{ReissueKey: &recordv1.ReissueKey{Person: "lena", Key: public(fresh)}}}, fresh, "nia")
	c.confirmed("eastfork")
	c.rekey("lena", lost)
	if _, err := c.submitAt("lena", "eastfork", 5000, actRelease(a)); status.Code(err) != codes.Unauthenticated {
		t.Errorf("the lost key at eastfork: %v", err)
	}
	c.rekey("lena", fresh)
	c.refuse("lena", "eastfork", ledger.NewerThanLock, actRelease(a))
	c.wantHolder("stonebend", a, "lena")
	b := c.do("lena", "eastfork", lockOn(second, "", "boot-1")).GetRef()
	c.do("lena", "stonebend", actRelease(b)) // what it put on itself it takes off
	c.wantHolder("millrow", b, "")
	c.wantHolder("millrow", a, "lena")
}

// A lock signed with a revoked key is on, and flagged (decisions.md 2); its key
// lifts nothing and reads nothing.
func revoked(t *testing.T, c *cluster) {
	a := c.do("ravi", "stonebend", lockOn(feeder, "", "boot-1")).GetRef()
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "ravi", Key: public(c.keys["ravi"]), Why: "the tablet was stolen"}}})
	c.confirmed("eastfork")
	_, err := c.raw("ravi", "eastfork").GetBoard(c.ctx(), &servicev1.GetBoardRequest{})
	if status.Code(err) != codes.Unauthenticated {
		t.Errorf("a revoked key reads at eastfork: %v", err)
	}
	carry := func(act *recordv1.Record) (*servicev1.Receipt, error) {
		res, err := c.raw("nia", "eastfork").Submit(c.ctx(), &servicev1.SubmitRequest{Signed: c.sign("ravi", act), WaitMs: 5000})
		return res.GetReceipt(), err
	}
	if rec, err := carry(actRelease(a)); err == nil {
		t.Errorf("a revoked key took a lock off: %v", rec)
	}
	c.wantHolder("millrow", a, "ravi")
	rec, err := carry(lockOn(second, "", "boot-1"))
	if err != nil {
		t.Fatalf("a lock was refused: %v", err)
	}
	for _, h := range c.confirmed("millrow").GetHolds() {
		if h.GetRef() == rec.GetRef() && code.Has(h.GetFlags(), ledger.SignedWithRevokedKey) {
			return
		}
	}
	t.Errorf("the lock %s is not on and flagged at millrow", rec.GetRef())
}
