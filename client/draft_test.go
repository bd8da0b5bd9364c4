package client_test

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"strings"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func removal(second string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: &recordv1.JournalRef{Yard: "millrow", Epoch: 1, Seq: 4}, Second: second,
		NotHere: "walked the yard", TriedToReach: "called twice"}}}
}

// as is a client of the same yards for another person.
func (n *net3) as(person string) *client.Client {
	n.t.Helper()
	p := *n.profile
	p.Person = person
	c, err := client.New(&p, keyOf(person), client.NewMemoryTickets("desk-"+person), client.WithDialer(n.dial))
	if err != nil {
		n.t.Fatal(err)
	}
	return c
}

func mustText(t *testing.T, d *client.Draft) []byte {
	t.Helper()
	text, err := d.Text()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// What a draft sends is what the ledger's own reader takes: every signature over
// the same bytes, in the order that the record names (decisions.md 21).
func TestDraft(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		d, err := c.NewDraft(removal("bo-lind"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := c.Send(soon(t), d); err == nil || !strings.Contains(err.Error(), "not signed yet by bo-lind") {
			t.Errorf("half a draft was sent: %v", err)
		}
		text := mustText(t, d)
		if err := c.Countersign(d); err == nil {
			t.Error("one person signed twice")
		}
		if err := n.as("eve-moe").Countersign(d); err == nil || !strings.Contains(err.Error(), "does not name eve-moe") {
			t.Errorf("somebody not named signed: %v", err)
		}
		there, err := client.ReadDraft(text)
		if err != nil {
			t.Fatal(err)
		}
		bo := n.as("bo-lind")
		defer bo.Close()
		if err := bo.Countersign(there); err != nil {
			t.Fatal(err)
		}
		back, err := client.ReadDraft(mustText(t, there))
		if err != nil || len(back.Missing()) != 0 {
			t.Fatalf("missing %v, %v", back.Missing(), err)
		}
		if _, err := c.Send(soon(t), back); err != nil {
			t.Fatal(err)
		}
		got := n.yards["eastfork"].Submits()
		if len(got) != 1 {
			t.Fatalf("%d records arrived", len(got))
		}
		e, err := ledger.Decode(ledger.DirectEntry(got[0]))
		if err != nil || e.Fault() != nil {
			t.Fatalf("the ledger does not take it: %v %v", err, e.Fault())
		}
		if k := e.Keys(); !bytes.Equal(k[0], keyOf("ann").Public().(ed25519.PublicKey)) || !bytes.Equal(k[1], keyOf("bo-lind").Public().(ed25519.PublicKey)) {
			t.Error("the signatures are not in order")
		}
	})
}

// A draft that was changed on the way is found out before anybody signs it.
func TestDraftChanged(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		c, end := n.start()
		defer end()
		d, err := c.NewDraft(removal("bo-lind"))
		if err != nil {
			t.Fatal(err)
		}
		text := mustText(t, d)
		var tampered *client.Tampered
		for i := bytes.IndexByte(text, '\n') + 1; i < len(text); i++ {
			bad := bytes.Clone(text)
			if bad[i] == '\n' || bad[i] == '=' {
				continue
			}
			if bad[i]++; bad[i] == '=' {
				continue
			}
			if got, err := client.ReadDraft(bad); err == nil {
				a, b := mustText(t, got), text
				if !bytes.Equal(a, b) && len(got.Missing()) == 1 {
					t.Fatalf("byte %d changed, and the draft passes", i)
				}
			} else if !errors.As(err, &tampered) {
				t.Fatalf("byte %d: %v", i, err)
			}
		}
		if _, err := client.ReadDraft(text[20:]); err == nil {
			t.Error("half a file passes for a draft")
		}
		other := *n.profile
		other.Ledger, other.Person = bytes.Repeat([]byte{9}, 32), "bo-lind"
		bo, err := client.New(&other, keyOf("bo-lind"), client.NewMemoryTickets("desk"), client.WithDialer(n.dial))
		if err != nil {
			t.Fatal(err)
		}
		if err := bo.Countersign(d); err == nil {
			t.Error("signed for another ledger")
		}
		if _, err := c.NewDraft(lockOn("millrow/mcc-1/leg-2")); err == nil {
			t.Error("a lock was made a draft")
		}
	})
}

// Sent again after a loss, by anybody, it is the same bytes.
func TestDraftSentAgain(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			n.takeDown("eastfork")
			return nil, status.Error(codes.Unavailable, "down")
		}
		n.yards["millrow"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		if _, err := c.ReplaceKey(soon(t), keyOf("ann's second")); err != nil {
			t.Fatal(err)
		}
		a, b := n.yards["eastfork"].Submits(), n.yards["millrow"].Submits()
		if len(a) != 1 || len(b) != 1 || !bytes.Equal(a[0], b[0]) {
			t.Fatalf("eastfork got %d, millrow %d, or the bytes differ", len(a), len(b))
		}
		e, err := ledger.Decode(ledger.DirectEntry(a[0]))
		if err != nil || e.Fault() != nil {
			t.Errorf("the ledger does not take it: %v %v", err, e.Fault())
		}
		var s recordv1.Signed
		if proto.Unmarshal(a[0], &s) != nil || !bytes.Equal(s.GetSignatures()[1].GetKey(), keyOf("ann's second").Public().(ed25519.PublicKey)) {
			t.Error("the new key did not sign last")
		}
	})
}
