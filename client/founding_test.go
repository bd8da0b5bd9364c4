package client_test

import (
	"bytes"
	"errors"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"yardhasp/client"
)

// The founding record comes from whichever yard has it; one of another ledger, or a
// changed one, is never taken.
func TestFounding(t *testing.T) {
	h := newHistory(t)
	n := newNet(t)
	n.profile.Ledger = h.id
	synctest.Test(t, func(t *testing.T) {
		sent := h.entries[0]
		n.yards["eastfork"].OnExport = func(uint64, uint64) ([][]byte, error) { return nil, nil } // its history is behind
		n.yards["millrow"].OnExport = func(uint64, uint64) ([][]byte, error) { return nil, status.Error(codes.DataLoss, "damaged") }
		n.yards["stonebend"].OnExport = func(from, to uint64) ([][]byte, error) {
			if from != 0 || to != 1 {
				t.Errorf("entries %d to %d were asked for", from, to)
			}
			return [][]byte{sent}, nil
		}
		c, end := n.start()
		defer end()
		got, err := c.Founding(soon(t))
		if err != nil || !bytes.Equal(got, h.founding) {
			t.Fatalf("%x, %v", got, err)
		}
		var bad *client.Tampered
		for i := 40; i < len(h.entries[0]); i += 7 {
			sent = bytes.Clone(h.entries[0])
			sent[i] ^= 1
			if got, err := c.Founding(soon(t)); !errors.As(err, &bad) {
				t.Errorf("byte %d changed: %x, %v", i, got, err)
			}
		}
		n.yards["stonebend"].OnExport = nil
		var far *client.Unreachable
		if _, err := c.Founding(soon(t)); !errors.As(err, &far) {
			t.Errorf("from nobody: %v", err)
		}
	})
}
