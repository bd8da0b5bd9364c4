package replica

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// founding reads the founding record kept in the data directory.
func (r *Replica) founding() ([]byte, error) { return os.ReadFile(filepath.Join(r.dir, "founding")) }

// checkFounding makes sure that the founding record belongs to this ledger.
func (r *Replica) checkFounding() error {
	raw, err := r.founding()
	if err != nil {
		return fmt.Errorf("the founding record is missing: copy it from another yard's data directory: %w", err)
	}
	var s recordv1.Signed
	if err := proto.Unmarshal(raw, &s); err != nil {
		return fmt.Errorf("%s is damaged: copy it from another yard's data directory", filepath.Join(r.dir, "founding"))
	}
	if id := sha256.Sum256(s.GetBody()); !bytes.Equal(id[:], r.ledgerID()) {
		return fmt.Errorf("%s founds another ledger than the one in %s: this is not a whole data directory", filepath.Join(r.dir, "founding"), settingsFile)
	}
	return nil
}

const begunFile = "begun"

// checkWhole refuses a data directory whose log or journal is missing as a whole. If
// this replica began anew under the same key, it could vote twice in a term, and the
// promises in the journal would be forgotten. A founder could found the same ledger a
// second time on its own.
func (r *Replica) checkWhole() error {
	if _, err := os.Stat(filepath.Join(r.dir, begunFile)); errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return err
	}
	for _, part := range []Part{PartJournal, PartLog} {
		if err := r.checkPart(part); err != nil {
			return err
		}
	}
	return nil
}

// checkPart refuses to make a lost log or journal anew.
func (r *Replica) checkPart(p Part) error {
	files := map[Part][]string{PartLog: {"raft", "raft.mark"}, PartJournal: {filepath.Join("journal", "journal")}}
	for _, f := range files[p] {
		if _, err := os.Stat(filepath.Join(r.dir, f)); errors.Is(err, fs.ErrNotExist) {
			return r.damage(p, fmt.Errorf("%s is gone, though this replica ran before: treat it as disk loss", filepath.Join(r.dir, f)))
		} else if err != nil {
			return err
		}
	}
	return nil
}

// markBegun notes that the log and the journal exist from now on.
func (r *Replica) markBegun() error {
	path := filepath.Join(r.dir, begunFile)
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	return writeFile(path, []byte("this replica has begun: its log and journal are never made anew\n"), 0o600)
}
