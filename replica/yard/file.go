package yard

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"

	"yardhasp/ledger"
)

// Names of the files in the journal's directory.
const (
	journalName = "journal"
	tailName    = "journal.tail"
	lockName    = "journal.lock"
)

// defaultExtend is by how many bytes the journal grows at a time. The new space is
// filled with zeros beforehand. So an append changes neither the file's length nor its
// block map, and its sync writes only data.
const defaultExtend = 256 << 10

// File is a yard's journal on the disk: append-only and hash-chained. Its tail mark is
// synced before anything is acknowledged (decisions.md 7). One goroutine owns it.
// Another process can't open it at the same time.
type File struct {
	dir    string
	h      Header
	f      *os.File
	tail   *os.File
	lock   *flock.Flock
	extend int64

	end    int64 // where the next frame goes
	size   int64 // bytes of the file, zeros included
	mark   tailMark
	slot   int
	failed error
}

// Create begins a new journal in dir, which must exist. It refuses when a journal is
// there already.
func Create(dir string, h Header) (*File, error) { return create(dir, h, defaultExtend) }

func create(dir string, h Header, extend int64) (*File, error) {
	if err := h.check(); err != nil {
		return nil, fmt.Errorf("journal in %s: %w", dir, err)
	}
	f := &File{dir: dir, h: h, extend: extend, mark: tailMark{h.Compacted, h.Hash}}
	if err := f.take(); err != nil {
		return nil, err
	}
	if err := f.begin(); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// begin writes the tail mark first. It writes the journal last, under another name,
// and then renames it: so a file with the journal's name is always whole.
func (f *File) begin() error {
	path := filepath.Join(f.dir, journalName)
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: there is a journal already: open it, or move it away if its yard was recovered", path)
	}
	tail, err := os.OpenFile(filepath.Join(f.dir, tailName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("the tail mark can't be made: %w", err)
	}
	f.tail = tail
	if m, _, err := readTail(tail); err == nil && m.Seq > 0 {
		return &ShortenedError{Path: path, Why: fmt.Sprintf("the file is gone, and its tail mark says that record %d was acknowledged", m.Seq)}
	}
	if err := f.clearTail(); err != nil {
		return err
	}
	return f.rewrite(appendFrame(nil, headerPayload(&f.h)))
}

func (f *File) clearTail() error {
	b := make([]byte, 2*slotStep)
	copy(b, f.mark.slot())
	f.slot = 0
	if _, err := f.tail.WriteAt(b, 0); err != nil {
		return fmt.Errorf("the tail mark can't be written: %w", err)
	}
	if err := f.tail.Sync(); err != nil {
		return fmt.Errorf("the tail mark can't be written: %w", err)
	}
	return syncDir(f.dir)
}

// Open opens a journal and returns its records. The header must agree with each field
// that is set in want. The machine may have died while it wrote a record that was not
// acknowledged yet. Open keeps such a record if it is whole, and cuts it off if not.
// If an acknowledged record is missing, the error is a *ShortenedError.
func Open(dir string, want Header) (*File, []Record, error) { return open(dir, want, defaultExtend) }

func open(dir string, want Header, extend int64) (*File, []Record, error) {
	f := &File{dir: dir, extend: extend}
	if err := f.take(); err != nil {
		return nil, nil, err
	}
	records, err := f.recover(&want)
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, records, nil
}

func (f *File) recover(want *Header) ([]Record, error) {
	path := filepath.Join(f.dir, journalName)
	var err error
	if f.tail, err = os.OpenFile(filepath.Join(f.dir, tailName), os.O_RDWR, 0); err != nil {
		if _, there := os.Stat(path); errors.Is(err, fs.ErrNotExist) && there == nil {
			return nil, &ShortenedError{Path: path, Why: "its tail mark, which says how far it was acknowledged, is gone"}
		}
		return nil, fmt.Errorf("the tail mark can't be opened: %w", err)
	}
	if f.mark, f.slot, err = readTail(f.tail); err != nil {
		return nil, err
	}
	if f.f, err = os.OpenFile(path, os.O_RDWR, 0); errors.Is(err, fs.ErrNotExist) && f.mark.Seq > 0 {
		return nil, &ShortenedError{Path: path, Why: fmt.Sprintf("the file is gone, and its tail mark says that record %d was acknowledged", f.mark.Seq)}
	} else if err != nil {
		return nil, fmt.Errorf("the journal can't be opened: %w", err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("the journal can't be read: %w", err)
	}
	h, records, end, stop, err := scan(b)
	if err != nil {
		return nil, &ShortenedError{Path: path, Why: err.Error()}
	}
	if err := h.is(want); err != nil {
		return nil, fmt.Errorf("the journal %s is not the one expected: %w", path, err)
	}
	if why := missing(&h, records, f.mark); why != "" {
		return nil, &ShortenedError{Path: path, Why: why + " (" + stop + ")"}
	}
	f.h, f.end, f.size = h, end, int64(len(b))
	return records, f.settle(b, records)
}

// missing says what the tail mark acknowledged and the journal lacks.
func missing(h *Header, records []Record, m tailMark) string {
	last := h.Compacted + uint64(len(records))
	if m.Seq > last {
		return fmt.Sprintf("it ends at record %d, and record %d was acknowledged", last, m.Seq)
	}
	if m.Seq < h.Compacted {
		return fmt.Sprintf("it begins after record %d, and its tail mark knows only of record %d", h.Compacted, m.Seq)
	}
	hash := h.Hash
	if m.Seq > h.Compacted {
		hash = ledger.EnvelopeHash(records[m.Seq-h.Compacted-1].Sealed)
	}
	if hash != m.Hash {
		return fmt.Sprintf("record %d is not the one that was acknowledged", m.Seq)
	}
	return ""
}

// settle removes what is not whole: it was never acknowledged. It marks what is whole,
// so that the owner may forward it from now on.
func (f *File) settle(b []byte, records []Record) error {
	if len(bytes.Trim(b[f.end:], "\x00")) > 0 {
		if _, err := f.f.WriteAt(make([]byte, int64(len(b))-f.end), f.end); err != nil {
			return fmt.Errorf("the journal's end can't be cleared: %w", err)
		}
		if err := f.f.Sync(); err != nil {
			return fmt.Errorf("the journal's end can't be cleared: %w", err)
		}
	}
	if n := len(records); n > 0 && f.mark.Seq != records[n-1].Envelope.GetSeq() {
		// A record beyond the mark may still be only in the system's cache.
		if err := f.f.Sync(); err != nil {
			return fmt.Errorf("the journal can't be synced: %w", err)
		}
		return f.setMark(&records[n-1])
	}
	return nil
}

// take locks the journal, so that no other process can have it.
func (f *File) take() error {
	path := filepath.Join(f.dir, lockName)
	f.lock = flock.New(path)
	ok, err := f.lock.TryLock()
	if err != nil {
		return fmt.Errorf("the journal's lock can't be taken: %w", err)
	}
	if !ok {
		return fmt.Errorf("the journal in %s is in use by another process: stop it first, two machines must never write one yard's journal", f.dir)
	}
	return nil
}

// Header is the journal's header as it stands on the disk.
func (f *File) Header() Header { return f.h }

// Append makes records durable, in order. When it returns nil, they are on the disk
// and the tail mark says so. After an error the file takes no more records: nobody
// knows what reached the disk until it is opened again.
func (f *File) Append(records ...Record) error {
	if f.failed != nil {
		return f.failed
	}
	if len(records) == 0 {
		return nil
	}
	if err := f.append(records); err != nil {
		f.failed = fmt.Errorf("the journal can't be written, and takes no more until a restart: %w", err)
		return f.failed
	}
	return nil
}

func (f *File) append(records []Record) error {
	var b []byte
	seq, hash := f.mark.Seq, f.mark.Hash
	for i := range records {
		if why := f.h.follows(&records[i], seq, hash); why != "" {
			return fmt.Errorf("record %d: %s", seq+1, why)
		}
		seq, hash = seq+1, ledger.EnvelopeHash(records[i].Sealed)
		p := recordPayload(&records[i])
		if len(p) > maxFrame {
			return fmt.Errorf("record %d has %d bytes, more than %d", seq, len(p), maxFrame)
		}
		b = appendFrame(b, p)
	}
	if err := f.grow(int64(len(b))); err != nil {
		return err
	}
	if _, err := f.f.WriteAt(b, f.end); err != nil {
		return err
	}
	if err := datasync(f.f); err != nil {
		return err
	}
	f.end += int64(len(b))
	return f.setMark(&records[len(records)-1])
}

// grow makes sure that the file has n bytes of zeros after the end.
func (f *File) grow(n int64) error {
	if f.end+n <= f.size {
		return nil
	}
	more := max(f.extend, f.end+n-f.size)
	if _, err := f.f.WriteAt(make([]byte, more), f.size); err != nil {
		return err
	}
	if err := f.f.Sync(); err != nil {
		return err
	}
	f.size += more
	return nil
}

// setMark acknowledges everything up to the record r.
func (f *File) setMark(r *Record) error {
	m := tailMark{r.Envelope.GetSeq(), ledger.EnvelopeHash(r.Sealed)}
	slot := 1 - f.slot
	if _, err := f.tail.WriteAt(m.slot(), int64(slot)*slotStep); err != nil {
		return err
	}
	if err := datasync(f.tail); err != nil {
		return err
	}
	f.mark, f.slot = m, slot
	return nil
}

// Compact replaces the journal by one that begins after h.Compacted and holds keep.
// The change is atomic: after a crash the disk has one journal or the other, whole.
// The last record stays the same, so the tail mark stays valid.
func (f *File) Compact(h Header, keep []Record) error {
	if f.failed != nil {
		return f.failed
	}
	if err := h.is(&Header{Ledger: f.h.Ledger, Yard: f.h.Yard, Epoch: f.h.Epoch, Incarnation: f.h.Incarnation}); err != nil {
		return fmt.Errorf("the journal can't be compacted: %w", err)
	}
	b := appendFrame(nil, headerPayload(&h))
	for i := range keep {
		b = appendFrame(b, recordPayload(&keep[i]))
	}
	_, got, _, stop, err := scan(b)
	if err != nil {
		return fmt.Errorf("the journal can't be compacted: %w", err)
	}
	if why := missing(&h, got, f.mark); why != "" || len(got) != len(keep) || h.Compacted+uint64(len(keep)) != f.mark.Seq {
		return fmt.Errorf("the journal can't be compacted: it would lose records: %s (%s)", why, stop)
	}
	old := f.f
	if err := f.rewrite(b); err != nil {
		f.failed = fmt.Errorf("the journal can't be compacted, and takes no more until a restart: %w", err)
		return f.failed
	}
	f.h = h
	old.Close() // its file has no name any more
	return nil
}

// rewrite replaces the journal by a file with the bytes b.
func (f *File) rewrite(b []byte) error {
	path := filepath.Join(f.dir, journalName)
	n, err := os.OpenFile(path+".new", os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	whole := append(bytes.Clone(b), make([]byte, f.extend)...)
	if _, err = n.WriteAt(whole, 0); err == nil {
		err = n.Sync()
	}
	if err == nil {
		err = os.Rename(n.Name(), path)
	}
	if err == nil {
		err = syncDir(f.dir)
	}
	if err != nil {
		n.Close()
		return err
	}
	f.f, f.end, f.size = n, int64(len(b)), int64(len(whole))
	return nil
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// Close closes the journal and lets another process open it.
func (f *File) Close() error {
	var errs []error
	for _, c := range []*os.File{f.f, f.tail} {
		if c != nil {
			errs = append(errs, c.Close())
		}
	}
	if f.failed == nil {
		f.failed = errors.New("the journal is closed")
	}
	return errors.Join(append(errs, f.lock.Close())...)
}
