package client

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"

	"google.golang.org/grpc"

	"yardhasp/ledger"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// ProcedureText reads the text of a published procedure from the history. entry and hash
// (the SHA-256 of the text) come from the zone's view. Any other text is a *Tampered.
func (c *Client) ProcedureText(ctx context.Context, entry uint64, hash []byte) ([]byte, error) {
	raw, err := ask(ctx, c, c.order(), func(ctx context.Context, conn *grpc.ClientConn) ([]byte, error) {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		stream, err := servicev1.NewLedgerServiceClient(conn).Export(ctx, &servicev1.ExportRequest{From: entry, To: entry + 1})
		if err != nil {
			return nil, err
		}
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("the history there does not reach entry %d yet: ask again, or another yard", entry)
		}
		return m.GetEntry(), err
	})
	if err != nil {
		return nil, err
	}
	e, err := ledger.Decode(raw)
	if err != nil {
		return nil, err
	}
	text := e.Record().GetPublishProcedure().GetText()
	if sum := sha256.Sum256(text); len(text) == 0 || !bytes.Equal(sum[:], hash) {
		return nil, &Tampered{fmt.Sprintf("entry %d holds another text than the ledger names: do not use it", entry)}
	}
	return text, nil
}
