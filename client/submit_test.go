package client_test

import (
	"bytes"
	"errors"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/fakeyard"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// A lock goes to its point's home yard although the person's own is up, once,
// and signed so that anybody can check it (RFC 8032 by crypto/ed25519).
func TestLockGoesHome(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["millrow"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		r, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2"))
		if err != nil || r.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
			t.Fatalf("receipt %v, error %v", r, err)
		}
		got := n.yards["millrow"].Submits()
		if len(got) != 1 || len(n.yards["eastfork"].Submits()) != 0 {
			t.Fatalf("millrow got %d records, eastfork %d, want 1 and 0", len(got), len(n.yards["eastfork"].Submits()))
		}
		var s recordv1.Signed
		var rec recordv1.Record
		if proto.Unmarshal(got[0], &s) != nil || proto.Unmarshal(s.GetBody(), &rec) != nil {
			t.Fatal("what arrived is no Signed record")
		}
		if sig := s.GetSignatures()[0]; !seal.Verify(seal.RecordDomain, sig.GetKey(), s.GetBody(), sig.GetSignature()) {
			t.Error("the signature does not hold")
		}
		if rec.GetSigner() != "ann-dahl" || rec.GetTicket().GetCounter() != 1 || !bytes.Equal(rec.GetLedger(), n.profile.Ledger) || rec.GetCapturedUnixMs() <= 0 {
			t.Errorf("the record is not filled in: %v", &rec)
		}
	})
}

// After a lost connection the same bytes go to the same yard again.
func TestSameBytesAfterLostConnection(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		home := n.yards["millrow"]
		home.OnSubmit = func(call int, r *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			if call == 1 {
				home.Cut()
				return nil, status.Error(codes.Unavailable, "cut")
			}
			return confirmed(call, r)
		}
		c, end := n.start()
		defer end()
		if _, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2")); err != nil {
			t.Fatal(err)
		}
		got := home.Submits()
		if len(got) != 2 || !bytes.Equal(got[0], got[1]) {
			t.Fatalf("%d records arrived, or their bytes differ: want the same bytes twice", len(got))
		}
	})
}

// A journal record that may have arrived never goes to another yard: it would be
// a second lock there (decisions.md 10).
func TestLostJournalRecordGoesNowhereElse(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["millrow"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			n.takeDown("millrow")
			return nil, status.Error(codes.Unavailable, "down")
		}
		n.yards["eastfork"].OnSubmit, n.yards["stonebend"].OnSubmit = confirmed, confirmed
		c, end := n.start()
		defer end()
		_, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2"))
		var unknown *client.UnknownOutcome
		if !errors.As(err, &unknown) || unknown.Yard != "millrow" || unknown.Ticket.GetCounter() != 1 {
			t.Fatalf("error %v, want an unknown outcome at millrow for ticket 1", err)
		}
		if e, s := n.yards["eastfork"].Submits(), n.yards["stonebend"].Submits(); len(e)+len(s) != 0 {
			t.Errorf("another yard got the record: %d and %d", len(e), len(s))
		}
		if kept, _ := c.Outbox(); len(kept) != 0 {
			t.Errorf("a record that may have arrived is in the outbox: %v", kept)
		}
	})
}

// A yard that says it does not know counts as lost, and so does a yard that,
// asked again, says it takes nothing: the first copy may be on its disk.
func TestAnswersThatDoNotSettle(t *testing.T) {
	for name, answers := range map[string][]error{
		"outcome unknown":           {fakeyard.Fail(codes.Aborted, client.ReasonOutcomeUnknown, "no answer from the quorum", "")},
		"lost, then not serving":    {status.Error(codes.Unavailable, "lost"), fakeyard.Fail(codes.Unavailable, client.ReasonNotServing, "catching up", "")},
		"lost, then refused by one": {status.Error(codes.Unavailable, "lost"), fakeyard.Refuse(&recordv1.Outcome{Conditions: []*recordv1.Finding{{Code: "SOME"}}})},
	} {
		t.Run(name, func(t *testing.T) {
			n := newNet(t)
			synctest.Test(t, func(t *testing.T) {
				n.yards["millrow"].OnSubmit = func(call int, _ *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
					return nil, answers[min(call, len(answers))-1]
				}
				n.yards["eastfork"].OnSubmit = confirmed
				c, end := n.start()
				defer end()
				_, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2"))
				var unknown *client.UnknownOutcome
				if !errors.As(err, &unknown) {
					t.Errorf("error %v, want an unknown outcome", err)
				}
				if got := n.yards["eastfork"].Submits(); len(got) != 0 {
					t.Errorf("eastfork got %d records", len(got))
				}
			})
		})
	}
}

// A yard that was never reached has nothing: the next one may have the lock. Nor
// has one that says it takes nothing.
func TestOtherYardWhenCertainlyNotSent(t *testing.T) {
	for name, prepare := range map[string]func(n *net3){
		"down": func(n *net3) { n.takeDown("millrow") },
		"not serving": func(n *net3) {
			n.yards["millrow"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
				return nil, fakeyard.Fail(codes.Unavailable, client.ReasonNotServing, "catching up", "")
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			n := newNet(t)
			synctest.Test(t, func(t *testing.T) {
				n.yards["eastfork"].OnSubmit = confirmed
				prepare(n)
				c, end := n.start()
				defer end()
				if _, err := c.Submit(soon(t), lockOn("millrow/mcc-1/leg-2")); err != nil {
					t.Fatal(err)
				}
				if got := n.yards["eastfork"].Submits(); len(got) != 1 {
					t.Errorf("eastfork got %d records, want 1", len(got))
				}
			})
		})
	}
}

// A direct record may go to another yard after a loss: its ticket is unique in
// the whole ledger. Same bytes.
func TestDirectRecordMayGoElsewhere(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			n.takeDown("eastfork")
			return nil, status.Error(codes.Unavailable, "down")
		}
		n.yards["millrow"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		if _, err := c.Submit(soon(t), request()); err != nil {
			t.Fatal(err)
		}
		a, b := n.yards["eastfork"].Submits(), n.yards["millrow"].Submits()
		if len(a) != 1 || len(b) != 1 || !bytes.Equal(a[0], b[0]) {
			t.Errorf("eastfork got %d, millrow %d, or the bytes differ", len(a), len(b))
		}
	})
}

// The other yard finds the ticket used: the first copy arrived, and its receipt
// is the answer.
func TestDirectRecordTakenBefore(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			n.takeDown("eastfork")
			return nil, status.Error(codes.Unavailable, "down")
		}
		n.yards["millrow"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
			return nil, fakeyard.Refuse(&recordv1.Outcome{TimeUnixMs: 9, Conditions: []*recordv1.Finding{ledger.TicketRepeated.About("ann-dahl", "ann-dahl", "tablet-1", 1)}})
		}
		n.yards["millrow"].OnReceipt = func(r *servicev1.GetReceiptRequest) (*servicev1.Receipt, error) {
			if r.GetDevice() != "tablet-1" || r.GetCounter() != 1 {
				t.Errorf("asked for ticket %s %d", r.GetDevice(), r.GetCounter())
			}
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, RepeatedTicket: true}, nil
		}
		c, end := n.start()
		defer end()
		r, err := c.Submit(soon(t), request())
		if err != nil || !r.GetRepeatedTicket() {
			t.Errorf("receipt %v, error %v", r, err)
		}
	})
}

// A refusal comes with every condition, and ends it.
func TestRefused(t *testing.T) {
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		want := &recordv1.Outcome{Index: 7, TimeUnixMs: 9, Kind: "request", Conditions: []*recordv1.Finding{
			ledger.HoldStands.About("millrow/mcc-1/leg-2", "ben-ito", "millrow/mcc-1/leg-2", "millrow/1/9"),
			ledger.NotClear.About("boot", "boot", "ann-dahl"),
		}}
		n.yards["eastfork"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) { return nil, fakeyard.Refuse(want) }
		c, end := n.start()
		defer end()
		_, err := c.Submit(soon(t), request())
		var refused *client.Refused
		if !errors.As(err, &refused) || !proto.Equal(refused.Outcome, want) {
			t.Fatalf("error %v, want the refusal with its whole outcome", err)
		}
		if got := n.yards["millrow"].Submits(); len(got) != 0 {
			t.Error("a refused record went to another yard")
		}
	})
}

// An act at a panel goes only to the panel's yard, carries the run and the last
// movement that it gave, and is never kept for later (decisions.md 3).
func TestPanelAct(t *testing.T) {
	isolate := func() *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: "millrow/mcc-1/leg-2"}}}
	}
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		home := n.yards["millrow"]
		home.OnPanel = func(point string) (*servicev1.GetPanelResponse, error) {
			return &servicev1.GetPanelResponse{Point: point, Run: "run-5", Moved: &recordv1.Moved{Epoch: 2, Seq: 31}}, nil
		}
		home.OnSubmit = confirmed
		n.yards["eastfork"].OnSubmit = confirmed
		c, end := n.start()
		defer end()
		if _, err := c.Submit(soon(t), isolate()); err != nil {
			t.Fatal(err)
		}
		var s recordv1.Signed
		var rec recordv1.Record
		if proto.Unmarshal(home.Submits()[0], &s) != nil || proto.Unmarshal(s.GetBody(), &rec) != nil {
			t.Fatal("what arrived is no Signed record")
		}
		if m := rec.GetIsolate().GetMoved(); m.GetEpoch() != 2 || m.GetSeq() != 31 || home.Runs()[0] != "run-5" {
			t.Errorf("moved %v, run %q", m, home.Runs()[0])
		}
		n.takeDown("millrow")
		_, err := c.Submit(soon(t), isolate())
		var nobody *client.Unreachable
		if !errors.As(err, &nobody) {
			t.Errorf("error %v, want unreachable", err)
		}
		if kept, _ := c.Outbox(); len(kept) != 0 || len(n.yards["eastfork"].Submits()) != 0 {
			t.Error("an act at a panel was kept for later or went to another yard")
		}
	})
}

// A receipt that says refused is a refusal too, also one without an outcome.
func TestRefusedReceipt(t *testing.T) {
	cond := ledger.HoldEnded.About("eastfork/1/7", "eastfork/1/7", "eastfork/mcc-1/fan", []*recordv1.Finding{}, int64(5))
	for name, r := range map[string]*servicev1.Receipt{
		"by the ledger":    {Status: servicev1.Status_STATUS_WRITTEN, Outcome: &recordv1.Outcome{TimeUnixMs: 9, Conditions: []*recordv1.Finding{cond}}},
		"by its word only": {Status: servicev1.Status_STATUS_REFUSED, Means: cond},
	} {
		t.Run(name, func(t *testing.T) {
			n := newNet(t)
			synctest.Test(t, func(t *testing.T) {
				n.yards["eastfork"].OnSubmit = func(int, *servicev1.SubmitRequest) (*servicev1.Receipt, error) { return r, nil }
				c, end := n.start()
				defer end()
				_, err := c.Submit(soon(t), request())
				var refused *client.Refused
				if !errors.As(err, &refused) || !refused.Has(ledger.HoldEnded) {
					t.Errorf("error %v, want the refusal", err)
				}
			})
		})
	}
}
