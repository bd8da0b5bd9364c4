package client

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

type boardFile struct {
	Saved int64           `json:"saved_unix_ms"`
	Board json.RawMessage `json:"board"`
}

func (c *Client) boardPath() string { return filepath.Join(c.state, "board.json") }

func (c *Client) keepBoard(b *recordv1.Board) error {
	raw, err := protojson.Marshal(b)
	if err != nil {
		return err
	}
	data, err := json.Marshal(boardFile{c.now().UnixMilli(), raw})
	if err != nil {
		return err
	}
	return locked(c.boardPath(), func() error { return writeWhole(c.boardPath(), data) })
}

// LastBoard is the last board of all yards that was read on this machine, and when it
// was read. It is always marked unconfirmed. Without a kept board the error is
// fs.ErrNotExist.
func (c *Client) LastBoard() (*recordv1.Board, time.Time, error) {
	if c.state == "" {
		return nil, time.Time{}, errors.New("no state folder: no board is kept")
	}
	return ReadLastBoard(c.state)
}

// ReadLastBoard does the same as LastBoard without a client, so it needs no key.
func ReadLastBoard(state string) (*recordv1.Board, time.Time, error) {
	fail := func(err error) (*recordv1.Board, time.Time, error) {
		return nil, time.Time{}, fmt.Errorf("read the last board: %w", err)
	}
	data, err := os.ReadFile(filepath.Join(state, "board.json"))
	if err != nil {
		return fail(err)
	}
	var f boardFile
	if err := json.Unmarshal(data, &f); err != nil {
		return fail(err)
	}
	b := &recordv1.Board{}
	if err := protojson.Unmarshal(f.Board, b); err != nil {
		return fail(err)
	}
	saved := time.UnixMilli(f.Saved)
	if b.AsOf == nil {
		b.AsOf = &recordv1.AsOf{}
	}
	if b.AsOf.Confirmed {
		b.AsOf.ConfirmedUnixMs = b.AsOf.ReadUnixMs
	}
	b.AsOf.Confirmed = false
	b.AsOf.Because = KeptBoard.About("")
	for _, j := range b.GetJobs() {
		j.AsOf = b.AsOf
	}
	return b, saved, nil
}
