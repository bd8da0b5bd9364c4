package replica

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"yardhasp/client/keys"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/quorum"
	"yardhasp/replica/store"
)

// Repair reads all data of a stopped replica and mends what can be mended. A damaged
// history is moved aside, never deleted. It is fetched again from the other yards, and
// checked against the root in the state and against what the others sign. A damaged
// log or journal is never touched: the error says what to do. say gets one line for
// each step. Of c it uses Dir, Logger, Now, Dial, Disk and Free.
func Repair(ctx context.Context, c Config, say func(line string)) error {
	r, err := openForRepair(c)
	if err != nil {
		return err
	}
	defer r.peers.close()
	defer func() { _ = r.closeStores() }()
	if err := r.lookAtJournalAndLog(say); err != nil {
		return err
	}
	s, fetched, err := r.rebuild(ctx)
	var broken *Damage
	if errors.As(r.sorted(err), &broken) && broken.Part == PartHistory {
		say(fmt.Sprintf("history: DAMAGED: %v", broken.Err))
		if err := r.setAside(say); err != nil {
			return err
		}
		s, fetched, err = r.rebuild(ctx)
	}
	if err != nil {
		return r.notFetched(s, err)
	}
	root := s.Root()
	if fetched > 0 {
		say(fmt.Sprintf("history: %d entries were fetched from the other yards", fetched))
	}
	say(fmt.Sprintf("history: well, all of it was read: its first %d entries give root %s, the one of this replica's state", s.Size(), hex.EncodeToString(root[:8])))
	return r.compareAll(ctx, s, say)
}

// openForRepair reads which replica this is. It opens no store.
func openForRepair(c Config) (*Replica, error) {
	set, err := ReadSettings(c.Dir)
	if err != nil {
		return nil, err
	}
	key, err := keys.Read(filepath.Join(c.Dir, "replica.key"), nil)
	if err != nil {
		return nil, err
	}
	r := &Replica{dir: c.Dir, set: set, key: key, timers: quorum.Profiles[set.Timers], log: c.Logger, now: c.Now}
	if r.log == nil {
		r.log = slog.New(slog.DiscardHandler)
	}
	if r.now == nil {
		r.now = time.Now
	}
	if _, err := os.Stat(filepath.Join(c.Dir, begunFile)); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("no replica ever ran on %s: there is nothing to repair, start it", c.Dir)
	}
	if err := r.checkFounding(); err != nil {
		return nil, err
	}
	if r.directory, err = openDirectory(c.Dir); err != nil {
		return nil, fmt.Errorf("peers.json can't be read: %w", err)
	}
	if err := r.openDisk(&c); err != nil {
		return nil, err
	}
	r.peers = newPeers(key, r.directory, c.Dial)
	return r, nil
}

// lookAtJournalAndLog reads both to the end and reports on each. If both are lost, the
// reader must learn of both.
func (r *Replica) lookAtJournalAndLog(say func(string)) error {
	journal := r.checkPart(PartJournal)
	if journal == nil {
		r.yard, journal = openDriver(r)
		journal = r.sorted(journal)
	}
	log := r.checkPart(PartLog)
	if log == nil {
		if r.raftLog, log = store.OpenLog(r.dir, r.log); log == nil {
			log = r.raftLog.Verify()
		}
		log = r.damage(PartLog, log)
	}
	for _, p := range []struct {
		name string
		err  error
	}{{"journal", journal}, {"log", log}} {
		if p.err == nil {
			say(p.name + ": well, all of it was read")
		}
	}
	return errors.Join(journal, log)
}

// rebuild opens the history, fetches what it lacks, and checks all of it.
func (r *Replica) rebuild(ctx context.Context) (s *ledger.State, fetched uint64, err error) {
	if r.history == nil {
		if r.history, err = store.OpenHistory(r.dir, r.log); err != nil {
			return nil, 0, r.damage(PartHistory, err)
		}
	}
	s, fetched, err = quorum.Rebuild(ctx, quorum.Config{Dir: r.dir, Log: r.raftLog, History: r.history, Floor: r.yard.floor(), Fetch: r.fetch, Logger: r.log})
	return s, fetched, r.sorted(err)
}

// setAside renames the history. It is never deleted, because it may be needed as
// evidence.
func (r *Replica) setAside(say func(string)) error {
	if r.history != nil {
		if err := r.history.Close(); err != nil {
			r.log.Info("the damaged history was not closed cleanly", "err", err)
		}
		r.history = nil
	}
	from := filepath.Join(r.dir, "history")
	to := from + ".damaged-" + r.now().UTC().Format("20060102T150405Z")
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("%s is there already: wait a second, then repair again", to)
	}
	if err := os.Rename(from, to); err != nil {
		return fmt.Errorf("the damaged history can't be set aside: %w", err)
	}
	say(fmt.Sprintf("history: set aside as %s; keep it until the cause is known", to))
	return nil
}

// notFetched says what follows when the history could not be completed.
func (r *Replica) notFetched(s *ledger.State, err error) error {
	var d *Damage
	switch {
	case errors.As(err, &d) && d.Part == PartHistory:
		return fmt.Errorf("%w\nDIFFERENT HISTORIES: the history was fetched anew and still is not the one of this replica's state: delete nothing, start nothing here, do a person-to-person check, and read \"Two histories\" in cmd/yardhaspd/README.md", d.Err)
	case s == nil || d != nil:
		return err
	}
	return fmt.Errorf(`the history is not whole yet: %w
It has %d of %d entries. Start the replica all the same: it votes, promises and serves
its state, and goes on fetching by itself. Until then no export is whole here, and what
became of an old record is told by the other yards.
  yardhaspd --data %s`, err, r.history.Size(), s.Size(), r.dir)
}

// compareAll asks each other yard for its signed root of the same size.
func (r *Replica) compareAll(ctx context.Context, s *ledger.State, say func(string)) error {
	size, root := s.Size(), s.Root()
	mine, err := r.sign(size, root)
	if err != nil {
		return err
	}
	var agree, silent, differ []string
	for _, id := range sortedYards(s) {
		if id == r.set.Yard {
			continue
		}
		switch theirs, err := r.askRoot(ctx, id, s.Yards[id].Key, mine, size, root); {
		case err != nil:
			r.log.Info("a yard's root is not known", "yard", id, "err", err)
			silent = append(silent, id)
		case theirs == root:
			agree = append(agree, id)
		default:
			differ = append(differ, id)
		}
	}
	if len(agree) > 0 {
		say("signed with the same root by " + strings.Join(agree, ", "))
	}
	if len(silent) > 0 {
		say("not compared with " + strings.Join(silent, ", ") + ": no answer for this size; it is done again once the replica runs")
	}
	if len(differ) > 0 {
		return fmt.Errorf("DIFFERENT HISTORIES: %s signed another root of the first %d entries: delete nothing, do a person-to-person check, and read \"Two histories\" in cmd/yardhaspd/README.md", strings.Join(differ, " and "), size)
	}
	return nil
}

// askRoot asks one yard for the root of the first size entries, signed with its key.
func (r *Replica) askRoot(ctx context.Context, yard string, key []byte, mine string, size uint64, root [32]byte) (theirs [32]byte, err error) {
	c, err := r.peers.conn(yard)
	if err != nil {
		return theirs, err
	}
	ctx, cancel := context.WithTimeout(ctx, max(r.timers.Dial, 5*time.Second))
	defer cancel()
	res, err := servicev1.NewPeerServiceClient(c).CompareRoot(ctx, &servicev1.CompareRootRequest{Size: size, Root: root[:], Note: mine})
	if err != nil {
		return theirs, err
	}
	v, err := seal.VerifierFor(yard, key)
	if err != nil {
		return theirs, err
	}
	got, theirs, err := seal.OpenCheckpoint([]byte(res.GetNote()), seal.Origin(r.ledgerID()), note.VerifierList(v))
	if err == nil && got != size {
		err = fmt.Errorf("it has a root of %d entries, not of %d", got, size)
	}
	return theirs, err
}
