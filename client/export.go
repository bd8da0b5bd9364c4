package client

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// An export file begins with the line exportHeader. Each entry follows as a length (4
// bytes, big-endian) and its bytes, the founding first. Then come a length of 0, and the
// signed checkpoint note as a length and its bytes. Nothing follows after it.
const exportHeader = "yardhasp export 1\n"

// ExportWriter writes an export file entry by entry.
type ExportWriter struct {
	w    io.Writer
	edge seal.Edge
}

// NewExportWriter writes the header.
func NewExportWriter(w io.Writer) (*ExportWriter, error) {
	_, err := io.WriteString(w, exportHeader)
	return &ExportWriter{w: w}, err
}

// Entry adds the next entry.
func (e *ExportWriter) Entry(raw []byte) error {
	if len(raw) == 0 || len(raw) > ledger.MaxEntryBytes {
		return fmt.Errorf("export entry %d: it has %d bytes, not 1 to %d", e.edge.Size, len(raw), ledger.MaxEntryBytes)
	}
	e.edge.Append(raw)
	return e.block(raw)
}

// Close ends the file with the checkpoint that signs the entries before it. It does not
// close the underlying writer.
func (e *ExportWriter) Close(checkpoint []byte) error {
	if err := e.block(nil); err != nil {
		return err
	}
	return e.block(checkpoint)
}

func (e *ExportWriter) block(b []byte) error {
	if _, err := e.w.Write(binary.BigEndian.AppendUint32(nil, uint32(len(b)))); err != nil {
		return err
	}
	_, err := e.w.Write(b)
	return err
}

// WriteExport writes a whole export file.
func WriteExport(w io.Writer, entries [][]byte, checkpoint []byte) error {
	e, err := NewExportWriter(w)
	if err != nil {
		return err
	}
	for _, raw := range entries {
		if err := e.Entry(raw); err != nil {
			return err
		}
	}
	return e.Close(checkpoint)
}

// ReadExport gives each entry of an export file to each, in order, and returns the
// checkpoint note. It checks only the file's form. VerifyExport checks the content.
func ReadExport(r io.Reader, each func(index uint64, raw []byte) error) (checkpoint []byte, err error) {
	head := make([]byte, len(exportHeader))
	if _, err := io.ReadFull(r, head); err != nil || string(head) != exportHeader {
		return nil, damaged("it does not begin with %q: it is no export file of this release", exportHeader[:len(exportHeader)-1])
	}
	for index := uint64(0); ; index++ {
		raw, err := readBlock(r)
		if err != nil {
			return nil, damaged("entry %d: %w", index, err)
		}
		if len(raw) == 0 {
			break
		}
		if err := each(index, raw); err != nil {
			return nil, err
		}
	}
	if checkpoint, err = readBlock(r); err != nil {
		return nil, damaged("checkpoint: %w", err)
	}
	if n, err := r.Read(make([]byte, 1)); n > 0 || err != io.EOF {
		return nil, damaged("something follows after the checkpoint")
	}
	return checkpoint, nil
}

func readBlock(r io.Reader) ([]byte, error) {
	var size [4]byte
	if _, err := io.ReadFull(r, size[:]); err != nil {
		return nil, errors.New("the file is cut off")
	}
	n := binary.BigEndian.Uint32(size[:])
	if n > ledger.MaxEntryBytes {
		return nil, fmt.Errorf("its length, %d bytes, can't be right", n)
	}
	b := make([]byte, n)
	if _, err := io.ReadFull(r, b); err != nil {
		return nil, errors.New("the file is cut off")
	}
	return b, nil
}

// Export writes the history up to the newest checkpoint to w, entry by entry. It checks
// that this is what the checkpoint signs. After a lost connection it continues at
// another yard. It returns the number of entries.
func (c *Client) Export(ctx context.Context, w io.Writer) (uint64, error) {
	noteText, err := c.Checkpoint(ctx)
	if err != nil {
		return 0, err
	}
	size, root, err := c.OpenCheckpoint([]byte(noteText))
	if err != nil {
		return 0, err
	}
	e, err := NewExportWriter(w)
	if err != nil {
		return 0, err
	}
	var tried []Attempt
	for _, y := range c.order() {
		if e.edge.Size == size {
			break
		}
		if err := c.exportFrom(ctx, y, e, size); err != nil {
			var own *ownError
			if errors.As(err, &own) {
				return e.edge.Size, own.err
			}
			tried = append(tried, Attempt{y.ID, err})
		}
	}
	if e.edge.Size < size {
		return e.edge.Size, &Unreachable{tried}
	}
	if e.edge.Root() != root {
		return size, &Tampered{fmt.Sprintf("the %d entries sent are not the ones the checkpoint signs", size)}
	}
	return size, e.Close([]byte(noteText))
}

func (c *Client) exportFrom(ctx context.Context, y Yard, e *ExportWriter, size uint64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	conn, err := c.reach(ctx, y, false)
	if err != nil {
		return err
	}
	var stream grpc.ServerStreamingClient[servicev1.ExportResponse]
	if stream, err = servicev1.NewLedgerServiceClient(conn).Export(ctx, &servicev1.ExportRequest{From: e.edge.Size, To: size}); err != nil {
		return decode(y.ID, err)
	}
	for e.edge.Size < size {
		m, err := stream.Recv()
		if err == io.EOF {
			return fmt.Errorf("%s sent only %d of %d entries", y.ID, e.edge.Size, size)
		}
		if err != nil {
			return decode(y.ID, err)
		}
		if m.GetIndex() != e.edge.Size {
			return &ownError{fmt.Errorf("%s sent entry %d where %d was due", y.ID, m.GetIndex(), e.edge.Size)}
		}
		if err := e.Entry(m.GetEntry()); err != nil {
			return &ownError{err}
		}
	}
	return nil
}

// Entries gives the entries from one index up to another to each, in order, as a yard
// has them. It checks only their order. Export checks the entries.
func (c *Client) Entries(ctx context.Context, from, to uint64, each func(index uint64, raw []byte) error) error {
	var tried []Attempt
	for _, y := range c.order() {
		err := c.entriesFrom(ctx, y, &from, to, each)
		var own *ownError
		switch {
		case errors.As(err, &own):
			return own.err
		case err == nil:
			return nil
		}
		tried = append(tried, Attempt{y.ID, err})
	}
	return &Unreachable{tried}
}

func (c *Client) entriesFrom(ctx context.Context, y Yard, from *uint64, to uint64, each func(uint64, []byte) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	conn, err := c.reach(ctx, y, false)
	if err != nil {
		return err
	}
	stream, err := servicev1.NewLedgerServiceClient(conn).Export(ctx, &servicev1.ExportRequest{From: *from, To: to})
	if err != nil {
		return decode(y.ID, err)
	}
	for *from < to {
		m, err := stream.Recv()
		if err == io.EOF {
			return fmt.Errorf("%s has only %d of %d entries", y.ID, *from, to)
		}
		if err != nil {
			return decode(y.ID, err)
		}
		if m.GetIndex() != *from {
			return &ownError{fmt.Errorf("%s sent entry %d where %d was due", y.ID, m.GetIndex(), *from)}
		}
		if err := each(*from, m.GetEntry()); err != nil {
			return &ownError{err}
		}
		*from++
	}
	return nil
}

// OpenCheckpoint checks a checkpoint note against the ledger and the yard keys of the
// profile.
func (c *Client) OpenCheckpoint(msg []byte) (size uint64, root [32]byte, err error) {
	var vs []note.Verifier
	for _, y := range c.profile.Yards {
		v, err := seal.VerifierFor(y.ID, y.Key)
		if err != nil {
			return 0, root, err
		}
		vs = append(vs, v)
	}
	size, root, err = seal.OpenCheckpoint(msg, seal.Origin(c.profile.Ledger), note.VerifierList(vs...))
	if err != nil {
		return 0, root, &Tampered{err.Error()}
	}
	return size, root, nil
}
