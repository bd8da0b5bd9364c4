package client

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Kept is one record in the outbox. Nobody else knows of it.
type Kept struct {
	Kind   string
	Since  time.Time
	Record *recordv1.Record
	// Yard is set once sending to it began. No other yard may then get the record.
	Yard string

	signed []byte
}

// Sent is what came of sending one kept record.
type Sent struct {
	Kept
	Receipt *servicev1.Receipt
	// Err is as from Submit. After any error but *Refused, the record stays in the
	// outbox.
	Err error
}

// outboxLine is one line of outbox.jsonl. It says that a record is kept, that sending it
// to a yard began, or that it is finished.
type outboxLine struct {
	Kept    int64  `json:"kept_unix_ms,omitempty"`
	Signed  []byte `json:"signed,omitempty"`
	Device  string `json:"device"`
	Counter uint64 `json:"counter"`
	Sending string `json:"sending,omitempty"`
	Done    bool   `json:"done,omitempty"`
}

func (c *Client) outboxPath() string { return filepath.Join(c.state, "outbox.jsonl") }

// keep puts a record into the outbox. It is on disk when keep returns.
func (c *Client) keep(p *parcel) error {
	t := p.rec.GetTicket()
	return c.note(outboxLine{Kept: c.now().UnixMilli(), Signed: p.signed, Device: t.GetDevice(), Counter: t.GetCounter()})
}

func (c *Client) note(l outboxLine) error {
	data, err := json.Marshal(l)
	if err != nil {
		return err
	}
	return locked(c.outboxPath(), func() error {
		old, err := os.ReadFile(c.outboxPath())
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		f, err := os.OpenFile(c.outboxPath(), os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
		if err != nil {
			return err
		}
		// A crash may have left half a line. Its record was promised to nobody.
		if len(old) > 0 && old[len(old)-1] != '\n' {
			data = append([]byte{'\n'}, data...)
		}
		_, err = f.Write(append(data, '\n'))
		if err == nil {
			err = f.Sync()
		}
		return errors.Join(err, f.Close(), syncDir(c.state))
	})
}

// Outbox lists the records kept on this machine, oldest first.
func (c *Client) Outbox() ([]Kept, error) {
	if c.state == "" {
		return nil, nil
	}
	data, err := os.ReadFile(c.outboxPath())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the outbox: %w", err)
	}
	kept, _, err := readOutbox(data)
	return kept, err
}

// readOutbox also counts lines that cannot be read. They are damaged, or half written by
// a crash, in which case their record was promised to nobody.
func readOutbox(data []byte) (out []Kept, damaged int, err error) {
	type id struct {
		device  string
		counter uint64
	}
	var order []id
	found := map[id]*Kept{}
	in := bufio.NewScanner(bytes.NewReader(data))
	in.Buffer(nil, 2*ledger.MaxEntryBytes)
	for n := 1; in.Scan(); n++ {
		var l outboxLine
		if err := json.Unmarshal(in.Bytes(), &l); err != nil {
			if len(bytes.TrimSpace(in.Bytes())) > 0 {
				damaged++
			}
			continue
		}
		k := id{l.Device, l.Counter}
		switch {
		case len(l.Signed) > 0:
			rec, err := recordIn(l.Signed)
			if err != nil {
				return nil, damaged, fmt.Errorf("outbox line %d: %w", n, err)
			}
			if found[k] == nil {
				order = append(order, k)
			}
			found[k] = &Kept{Kind: ledger.KindOf(rec), Since: time.UnixMilli(l.Kept), Record: rec, signed: l.Signed}
		case found[k] != nil && l.Done:
			delete(found, k)
		case found[k] != nil && l.Sending != "":
			found[k].Yard = l.Sending
		}
	}
	if err := in.Err(); err != nil {
		return nil, damaged, fmt.Errorf("read the outbox: %w", err)
	}
	for _, k := range order {
		if found[k] != nil {
			out = append(out, *found[k])
		}
	}
	return out, damaged, nil
}

// SendOutbox sends the kept records, oldest first. It stops at the first record that no
// yard takes, because a release must not overtake the lock before it.
func (c *Client) SendOutbox(ctx context.Context) ([]Sent, error) {
	kept, err := c.Outbox()
	if err != nil || c.state == "" {
		return nil, err
	}
	var out []Sent
	for _, k := range kept {
		t := k.Record.GetTicket()
		kind := ledger.KindFor(k.Record)
		if kind == nil {
			return out, fmt.Errorf("outbox: a record of kind %q is from another release: use that release to send it", k.Kind)
		}
		p := &parcel{signed: k.signed, rec: k.Record, direct: kind.Way == ledger.Direct, yards: c.order(home(k.Record, c.jobYard(ctx)))}
		if y, ok := c.profile.YardByID(k.Yard); ok && k.Yard != "" && !p.direct {
			p.yards = []Yard{y}
		}
		p.sending = func(yard string) error {
			return c.note(outboxLine{Device: t.GetDevice(), Counter: t.GetCounter(), Sending: yard})
		}
		receipt, err := c.send(ctx, p)
		if receipt.GetStatus() == servicev1.Status_STATUS_NOT_SENT {
			err = &Unreachable{[]Attempt{{receipt.GetYard(), errors.New(words.English.Says(receipt.GetMeans()))}}}
		}
		out = append(out, Sent{k, receipt, err})
		var refused *Refused
		if err != nil && !errors.As(err, &refused) {
			return out, nil
		}
		if err := c.note(outboxLine{Device: t.GetDevice(), Counter: t.GetCounter(), Done: true}); err != nil {
			return out, err
		}
	}
	return out, c.tidy()
}

// tidy removes the file when nothing in it waits any more.
func (c *Client) tidy() error {
	return locked(c.outboxPath(), func() error {
		data, err := os.ReadFile(c.outboxPath())
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return err
		}
		left, damaged, err := readOutbox(data)
		if damaged > 0 && err == nil {
			err = fmt.Errorf("%s has %d lines that can't be read: look at them, then move the file away", c.outboxPath(), damaged)
		}
		if err != nil || len(left) > 0 {
			return err
		}
		return writeWhole(c.outboxPath(), nil)
	})
}
