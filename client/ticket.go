package client

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"yardhasp/ledger"
)

// maxDevice limits a profile's device name, in bytes. Eight more are added to it.
const maxDevice = ledger.MaxName - 9

// TicketSource gives out tickets. Next must never give the same ticket twice, not even
// after a crash: two acts with one ticket count as one act, and the second would be
// lost. It is safe for concurrent use.
type TicketSource interface {
	Next() (device string, counter uint64, err error)
}

type ticketFile struct {
	Device  string `json:"device"`
	Counter uint64 `json:"counter"`
}

// FileTickets keeps the last ticket in a file.
type FileTickets struct{ path, device string }

// NewFileTickets keeps tickets.json in dir, and makes dir if it is missing. When the
// file is first made, the device name gets a random ending. So a lost state folder never
// leads to the same ticket again.
func NewFileTickets(dir, device string) (*FileTickets, error) {
	if !ledger.Name(device) || len(device) > maxDevice {
		return nil, fmt.Errorf("device %q is not a name of at most %d lower-case letters, digits and hyphens", device, maxDevice)
	}
	return &FileTickets{filepath.Join(dir, "tickets.json"), device}, nil
}

// Next takes a ticket. It is on disk when Next returns.
func (t *FileTickets) Next() (string, uint64, error) {
	var f ticketFile
	err := locked(t.path, func() error {
		data, err := os.ReadFile(t.path)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			end := make([]byte, 4)
			if _, err := rand.Read(end); err != nil {
				return err
			}
			f.Device = t.device + "-" + hex.EncodeToString(end)
		case err != nil:
			return err
		default:
			if err := json.Unmarshal(data, &f); err != nil || !ledger.Name(f.Device) || f.Counter == 0 {
				return errors.New("it can't be read; move it away, and tickets begin anew under another device name")
			}
		}
		f.Counter++
		if data, err = json.Marshal(f); err != nil {
			return err
		}
		return writeWhole(t.path, append(data, '\n'))
	})
	if err != nil {
		return "", 0, fmt.Errorf("take a ticket from %s: %w", t.path, err)
	}
	return f.Device, f.Counter, nil
}

// Device is the name that the tickets carry. It is empty before the first ticket.
func (t *FileTickets) Device() string {
	var f ticketFile
	data, err := os.ReadFile(t.path)
	if err != nil || json.Unmarshal(data, &f) != nil {
		return ""
	}
	return f.Device
}

// MemoryTickets counts in memory. It is for tests, and for programs that sign with a key
// made for one run.
type MemoryTickets struct {
	mu     sync.Mutex
	device string
	last   uint64
}

// NewMemoryTickets starts at 1.
func NewMemoryTickets(device string) *MemoryTickets { return &MemoryTickets{device: device} }

// Next takes a ticket.
func (t *MemoryTickets) Next() (string, uint64, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.last++
	return t.device, t.last, nil
}
