package client_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// With no yard reachable a lock is kept, says so, and later goes out as the very
// bytes that were signed then (decisions.md 15).
func TestOutboxKeepsAndSends(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["millrow"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		n.takeDown("eastfork", "millrow", "stonebend")
		r, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2"))
		if err != nil || r.GetStatus() != servicev1.Status_STATUS_NOT_SENT || !code.Is(r.GetMeans(), client.NotSent) {
			t.Fatalf("receipt %v, error %v", r, err)
		}
		kept, err := c.Outbox()
		if err != nil || len(kept) != 1 || kept[0].Kind != "lock" {
			t.Fatalf("outbox %v, error %v", kept, err)
		}
		sent, err := c.SendOutbox(soon(t))
		var nobody *client.Unreachable
		if err != nil || len(sent) != 1 || !errors.As(sent[0].Err, &nobody) {
			t.Fatalf("sending with no yard up: %v, %v", sent, err)
		}
		n.putUp("millrow")
		if sent, err = c.SendOutbox(soon(t)); err != nil || len(sent) != 1 || sent[0].Err != nil {
			t.Fatalf("sent %+v, error %v", sent, err)
		}
		if got := n.yards["millrow"].Submits(); len(got) != 1 {
			t.Fatalf("millrow got %d records", len(got))
		}
		if kept, err = c.Outbox(); err != nil || len(kept) != 0 {
			t.Errorf("still in the outbox: %v (%v)", kept, err)
		}
	})
}

// A request is not kept: it is a permission somebody would wait for.
func TestOutboxTakesOnlySomeKinds(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		c, end := n.start()
		defer end()
		n.takeDown("eastfork", "millrow", "stonebend")
		_, err := c.Submit(soon(t), request())
		var nobody *client.Unreachable
		if !errors.As(err, &nobody) {
			t.Errorf("error %v, want unreachable", err)
		}
		if kept, _ := c.Outbox(); len(kept) != 0 {
			t.Errorf("kept %v", kept)
		}
	})
	// The list of decisions.md 15.
	keep := map[string]bool{"lock": true, "found_lock": true, "release": true, "sign_on": true, "sign_off": true, "reading": true, "notice": true,
		"air_reading": true, "leave_watch": true, // a reading, and a sign-off
		"remark": true} // nobody relies on it
	for _, kind := range ledger.Kinds() {
		k := kind.Name
		if waits := kind.Outbox == ledger.MayWait; waits != keep[k] {
			t.Errorf("%s may wait: %v", k, waits)
		}
	}
}

// A kept record whose sending to one yard began goes to no other, not after a
// crash either: another client over the same folder knows.
func TestOutboxNeverToASecondYard(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["millrow"].OnSubmit = func(call int, r *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			if call == 1 {
				n.takeDown("millrow")
				return nil, status.Error(codes.Unavailable, "down")
			}
			return confirmed(call, r)
		}
		n.yards["eastfork"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		n.takeDown("eastfork", "millrow", "stonebend")
		if _, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2")); err != nil {
			t.Fatal(err)
		}
		n.putUp("eastfork", "millrow", "stonebend")
		sent, err := c.SendOutbox(soon(t))
		var unknown *client.UnknownOutcome
		if err != nil || len(sent) != 1 || !errors.As(sent[0].Err, &unknown) {
			t.Fatalf("sent %+v, error %v, want an unknown outcome", sent, err)
		}
		again, err := client.New(n.profile, keyOf("ann"), n.tickets, client.WithDialer(n.dial), client.WithState(n.state))
		if err != nil {
			t.Fatal(err)
		}
		defer again.Close()
		if kept, err := again.Outbox(); err != nil || len(kept) != 1 || kept[0].Yard != "millrow" {
			t.Fatalf("outbox %+v, error %v, want the lock bound to millrow", kept, err)
		}
		sent, err = again.SendOutbox(soon(t))
		if err != nil || len(sent) != 1 || sent[0].Err == nil || len(n.yards["eastfork"].Submits()) != 0 {
			t.Fatalf("sent %+v, error %v; eastfork got %d", sent, err, len(n.yards["eastfork"].Submits()))
		}
		n.putUp("millrow")
		if sent, err = again.SendOutbox(soon(t)); err != nil || sent[0].Err != nil {
			t.Fatalf("sent %+v, error %v", sent, err)
		}
		got := n.yards["millrow"].Submits()
		if len(got) != 2 || !bytes.Equal(got[0], got[1]) {
			t.Errorf("millrow got %d records, or other bytes", len(got))
		}
	})
}

// Half a line that a crash left hides neither what is before nor after it, and
// is not thrown away unseen.
func TestOutboxHalfLine(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		for _, y := range n.yards {
			y.OnSubmit = confirmed
		}
		c, end := n.start()
		defer end()
		n.takeDown("eastfork", "millrow", "stonebend")
		if _, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2")); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(n.state, "outbox.jsonl")
		f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.WriteString(`{"kept_unix_ms":1,"sig`); err != nil {
			t.Fatal(err)
		}
		f.Close()
		ref := &recordv1.JournalRef{Yard: "millrow", Epoch: 1, Seq: 4}
		if _, err := c.Submit(soon(t), &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: ref}}}); err != nil {
			t.Fatal(err)
		}
		kept, err := c.Outbox()
		if err != nil || len(kept) != 2 || kept[0].Kind != "lock" || kept[1].Kind != "release" {
			t.Fatalf("outbox %+v, error %v", kept, err)
		}
		n.putUp("eastfork", "millrow", "stonebend")
		if sent, err := c.SendOutbox(soon(t)); len(sent) != 2 || err == nil {
			t.Errorf("sent %d, error %v: want both sent and the half line reported", len(sent), err)
		}
		if _, err := os.Stat(path); err != nil {
			t.Errorf("the file with the half line is gone: %v", err)
		}
	})
}
