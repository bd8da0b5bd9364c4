package client

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Tampered means that bytes are not what was signed, or are incomplete.
type Tampered struct{ Text string }

func (e *Tampered) Error() string { return e.Text }

func damaged(format string, a ...any) error { return &Tampered{fmt.Errorf(format, a...).Error()} }

// Verified is what an export file proves.
type Verified struct {
	Ledger string `json:"ledger"`
	Coop   string `json:"coop"`
	// Size is the number of entries.
	Size uint64 `json:"size,string"`
	// Root is the RFC 6962 root of all entries, in hex.
	Root string `json:"root"`
	// LastUnixMs is the ledger time of the last entry.
	LastUnixMs int64 `json:"last_unix_ms,string"`
	// Refused counts entries that the rules refused.
	Refused uint64 `json:"refused,string"`
	// SignedBy are the yards whose keys signed the checkpoint.
	SignedBy []string `json:"signed_by"`
	// Earlier are the sizes of the earlier checkpoints that this history continues.
	Earlier []uint64 `json:"earlier,omitempty"`

	// State is the state after all entries.
	State *ledger.State `json:"-"`
}

// Verify checks the export file at path as VerifyExport does.
func Verify(path string, ledgerID []byte, earlier ...[]byte) (*Verified, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return VerifyExport(f, ledgerID, earlier...)
}

// VerifyExport applies every entry again. It checks size and root against the checkpoint
// in the file, which a yard of the resulting registry must have signed. If a ledger id
// is given, the file must be of that ledger. Without one, a whole history that somebody
// invented would pass. This history must continue each earlier checkpoint note. A file
// that fails is a *Tampered that names the entry where it can.
func VerifyExport(r io.Reader, ledgerID []byte, earlier ...[]byte) (*Verified, error) {
	return VerifyEach(r, ledgerID, nil, earlier...)
}

// VerifyEach does what VerifyExport does, and also gives each entry, its outcome and the
// state after it to each. each may be nil, and must change none of them. What each saw
// holds only when VerifyEach returns no error.
func VerifyEach(r io.Reader, ledgerID []byte, each func(*ledger.Entry, *recordv1.Outcome, *ledger.State), earlier ...[]byte) (*Verified, error) {
	kept := make([]uint64, len(earlier))
	roots := map[uint64][32]byte{}
	for i, msg := range earlier {
		size, err := sizeOf(msg)
		if err != nil {
			return nil, damaged("earlier checkpoint %d: %w", i+1, err)
		}
		kept[i] = size
	}
	s := ledger.New()
	v := &Verified{State: s}
	suspect := ""
	checkpoint, err := ReadExport(r, func(index uint64, raw []byte) error {
		e, err := ledger.Decode(raw)
		if err != nil {
			return damaged("entry %d can't be read: it was changed, or this history goes on in a newer release: %w", index, err)
		}
		// The ledger never accepts an entry with a fault, so the first one is where to
		// look.
		if f := e.Fault(); f != nil && suspect == "" {
			suspect = fmt.Sprintf("; entry %d is the first that can't be right: %s", index, words.English.Says(f))
		}
		out := s.Apply(e)
		if !out.GetAccepted() {
			v.Refused++
		}
		if index == 0 {
			if err := checkFounding(s, out, ledgerID); err != nil {
				return err
			}
		}
		if slices.Contains(kept, s.Size()) {
			roots[s.Size()] = s.Root()
		}
		if each != nil {
			each(e, out, s)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if s.Size() == 0 {
		return nil, damaged("the file has no entries")
	}
	size, root, err := openBy(s, checkpoint)
	switch {
	case err != nil:
		return nil, damaged("%w%s", err, suspect)
	case size != s.Size():
		return nil, damaged("the file has %d entries, its checkpoint signs %d: entries were left out or added", s.Size(), size)
	case root != s.Root():
		return nil, damaged("the %d entries are not the ones the checkpoint signs: something was changed%s", size, suspect)
	}
	for i, msg := range earlier {
		size, root, err := openBy(s, msg)
		switch {
		case err != nil:
			return nil, damaged("earlier checkpoint %d: %w", i+1, err)
		case size > s.Size():
			return nil, damaged("earlier checkpoint %d is of size %d, the file has only %d entries: history was cut, or the file is the older one", i+1, size, s.Size())
		case roots[size] != root:
			return nil, damaged("earlier checkpoint %d: the first %d entries of the file are not the ones it signed: history was rewritten", i+1, size)
		}
		v.Earlier = append(v.Earlier, size)
	}
	sum := s.Root()
	v.Ledger, v.Coop, v.Size, v.Root, v.LastUnixMs = s.Ledger, s.Coop, s.Size(), hex.EncodeToString(sum[:]), s.Time
	v.SignedBy = signers(s, checkpoint)
	return v, nil
}

func checkFounding(s *ledger.State, out *recordv1.Outcome, want []byte) error {
	switch {
	case !out.GetAccepted():
		return damaged("entry 0 is no founding: %s", words.English.Says(out.GetConditions()[0]))
	case want != nil && !bytes.Equal(want, s.LedgerID()):
		return damaged("entry 0: the file is of ledger %s, not of %s", s.Ledger, hex.EncodeToString(want))
	}
	return nil
}

// openBy opens a checkpoint with the keys of the state's yards.
func openBy(s *ledger.State, msg []byte) (uint64, [32]byte, error) {
	return seal.OpenCheckpoint(msg, seal.Origin(s.LedgerID()), note.VerifierList(verifiers(s)...))
}

func verifiers(s *ledger.State) []note.Verifier {
	var vs []note.Verifier
	for _, y := range s.Yards {
		if v, err := seal.VerifierFor(y.ID, y.Key); err == nil {
			vs = append(vs, v)
		}
	}
	return vs
}

func signers(s *ledger.State, msg []byte) []string {
	n, err := note.Open(msg, note.VerifierList(verifiers(s)...))
	if err != nil {
		return nil
	}
	var out []string
	for _, sig := range n.Sigs {
		out = append(out, sig.Name)
	}
	slices.Sort(out)
	return out
}

// sizeOf reads the size in a checkpoint before its signature is checked.
func sizeOf(msg []byte) (uint64, error) {
	lines := strings.SplitN(string(msg), "\n", 3)
	if len(lines) < 3 {
		return 0, fmt.Errorf("it is no checkpoint")
	}
	size, err := strconv.ParseUint(lines[1], 10, 64)
	if err != nil || !strings.HasPrefix(lines[0], "yardhasp/") {
		return 0, fmt.Errorf("it is no checkpoint: its first line is yardhasp/ and the ledger, its second the size")
	}
	return size, nil
}
