package client

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Founding reads the founding record, a serialised Signed, from the first yard that has
// it. Its hash must be the ledger id of the profile, and its signatures must hold. A
// yard that sends another record is a *Tampered.
func (c *Client) Founding(ctx context.Context) ([]byte, error) {
	var tried []Attempt
	for _, y := range c.order() {
		raw, err := ask(ctx, c, []Yard{y}, firstEntry)
		if err != nil {
			tried = append(tried, Attempt{y.ID, err})
			continue
		}
		var e recordv1.Entry
		if err := proto.Unmarshal(raw, &e); err != nil {
			return nil, damaged("the first entry that %s sent can't be read: do not go on", y.ID)
		}
		_, err = CheckFounding(e.GetFounding(), c.profile.Ledger)
		return e.GetFounding(), err
	}
	return nil, &Unreachable{tried}
}

func firstEntry(ctx context.Context, conn *grpc.ClientConn) ([]byte, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	st, err := servicev1.NewLedgerServiceClient(conn).Export(ctx, &servicev1.ExportRequest{From: 0, To: 1})
	if err != nil {
		return nil, err
	}
	m, err := st.Recv()
	return m.GetEntry(), err
}
