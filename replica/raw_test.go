package replica_test

import (
	"bytes"
	"crypto/ed25519"
	"fmt"
	"io"
	"slices"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/pin"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// dial connects to a yard with any key, past the client package.
func (c *cluster) dial(key ed25519.PrivateKey, yard string) *grpc.ClientConn {
	c.t.Helper()
	i := slices.IndexFunc(c.yards, func(y client.Yard) bool { return y.ID == yard })
	own := func(k []byte) bool { return bytes.Equal(k, c.yards[i].Key) }
	conn, err := grpc.NewClient("passthrough:///"+c.yards[i].Address, grpc.WithTransportCredentials(credentials.NewTLS(pin.ClientConfig(key, own, pin.ALPNClient))),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.Config{BaseDelay: 50 * time.Millisecond, Multiplier: 1.5, MaxDelay: 300 * time.Millisecond}, MinConnectTimeout: 3 * time.Second}))
	if err != nil {
		c.t.Fatal(err)
	}
	c.t.Cleanup(func() { conn.Close() })
	return conn
}

func (c *cluster) raw(person, yard string) servicev1.LedgerServiceClient {
	c.t.Helper()
	return servicev1.NewLedgerServiceClient(c.dial(c.keys[person], yard))
}

// ticket makes a ticket never used before.
func (c *cluster) ticket() *recordv1.Ticket {
	return &recordv1.Ticket{Device: "raw", Counter: c.device.Add(1)}
}

// sign fills in and signs a record of a person, with other keys if given.
func (c *cluster) sign(person string, rec *recordv1.Record, keys ...ed25519.PrivateKey) []byte {
	c.t.Helper()
	if rec.Ledger == nil {
		rec.Ledger = c.id
	}
	rec.Signer, rec.CapturedUnixMs = person, time.Now().UnixMilli()
	if rec.Ticket == nil {
		rec.Ticket = c.ticket()
	}
	if len(keys) == 0 {
		keys = []ed25519.PrivateKey{c.keys[person]}
	}
	body := c.marshal(rec)
	s := &recordv1.Signed{Body: body}
	for _, k := range keys {
		s.Signatures = append(s.Signatures, &recordv1.Signature{Key: public(k), Signature: seal.Sign(k, seal.RecordDomain, body)})
	}
	return c.marshal(s)
}

func (c *cluster) marshal(m proto.Message) []byte {
	c.t.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		c.t.Fatal(err)
	}
	return b
}

// submitAt sends a record to one yard only, and waits at most waitMS for the ledger.
func (c *cluster) submitAt(person, yard string, waitMS uint32, rec *recordv1.Record) (*servicev1.Receipt, error) {
	c.t.Helper()
	res, err := c.raw(person, yard).Submit(c.ctx(), &servicev1.SubmitRequest{Signed: c.sign(person, rec), WaitMs: waitMS})
	return res.GetReceipt(), err
}

// reason is the ErrorInfo reason of a status.
func reason(err error) code.Code {
	for _, d := range status.Convert(err).Details() {
		if i, ok := d.(*errdetails.ErrorInfo); ok {
			return code.Code(i.GetReason())
		}
	}
	return ""
}

func (c *cluster) wantErr(err error, want codes.Code, why code.Code) {
	c.t.Helper()
	if status.Code(err) != want || reason(err) != why {
		c.t.Errorf("got %v (%s) %v, want %v (%s)", status.Code(err), reason(err), err, want, why)
	}
}

func (c *cluster) board(yard string, how servicev1.Consistency) (*recordv1.Board, error) {
	c.t.Helper()
	res, err := c.raw("nia", yard).GetBoard(c.ctx(), &servicev1.GetBoardRequest{Consistency: how})
	return res.GetBoard(), err
}

// size is the confirmed number of entries.
func (c *cluster) size(yard string) uint64 {
	c.t.Helper()
	b, err := c.board(yard, servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil {
		c.t.Fatal(err)
	}
	return b.GetAsOf().GetSize()
}

// export reads the leaves from up to to, one past the last, of a yard's history.
func (c *cluster) export(yard string, from, to uint64) ([][]byte, error) {
	c.t.Helper()
	st, err := c.raw("nia", yard).Export(c.ctx(), &servicev1.ExportRequest{From: from, To: to})
	if err != nil {
		return nil, err
	}
	var out [][]byte
	for {
		m, err := st.Recv()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		out = append(out, m.GetEntry())
	}
	if uint64(len(out)) != to-from {
		return nil, fmt.Errorf("%s gave %d of the entries %d to %d", yard, len(out), from, to)
	}
	return out, nil
}

// same waits until the yards export the same n leaves, whose RFC 6962 root is
// what each says it has, and returns them.
func (c *cluster) same(n uint64, yards ...string) [][]byte {
	c.t.Helper()
	var all [][]byte
	for _, y := range yards {
		var got [][]byte
		var err error
		c.until(y+" has the whole history", func() bool { got, err = c.export(y, 0, n); return err == nil })
		if all == nil {
			all = got
		}
		for i := range all {
			if !bytes.Equal(all[i], got[i]) {
				c.t.Fatalf("entry %d differs between %s and %s", i, yards[0], y)
			}
		}
	}
	var tree seal.Edge
	for _, raw := range all {
		tree.Append(raw)
	}
	root := tree.Root()
	for _, y := range yards {
		c.until(y+" has the root", func() bool {
			b, err := c.board(y, servicev1.Consistency_CONSISTENCY_LOCAL)
			return err == nil && b.GetAsOf().GetSize() == n && bytes.Equal(b.GetAsOf().GetRoot(), root[:])
		})
	}
	return all
}

// replay folds leaves again from nothing and gives each outcome.
func (c *cluster) replay(leaves [][]byte) []*recordv1.Outcome {
	c.t.Helper()
	s := ledger.New()
	var out []*recordv1.Outcome
	for i, raw := range leaves {
		e, err := ledger.Decode(raw)
		if err != nil {
			c.t.Fatalf("entry %d: %v", i, err)
		}
		out = append(out, s.Apply(e))
	}
	return out
}

func hasCond(o *recordv1.Outcome, want code.Code) bool { return code.Has(o.GetConditions(), want) }
