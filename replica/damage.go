package replica

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"syscall"

	"yardhasp/replica/quorum"
	"yardhasp/replica/store"
	"yardhasp/replica/yard"
)

// Part is one of the things that a data directory keeps.
type Part int

const (
	// PartHistory is every entry: others have it too, so it can be fetched again.
	PartHistory Part = iota
	// PartLog is raft's log, its vote and its snapshots.
	PartLog
	// PartJournal is what this yard wrote down first, and promised.
	PartJournal
)

// Damage says which part of a data directory is damaged or lost, and what to do.
// It is several lines long: whoever reads it has a yard that stands still.
type Damage struct {
	Part      Part
	Dir, Yard string
	Err       error
}

func (e *Damage) Unwrap() error { return e.Err }

func (e *Damage) Error() string {
	switch e.Part {
	case PartHistory:
		return fmt.Sprintf(`the history in %s is damaged: %v
No lock and no promise is lost by it: the other yards have the same entries.
What to type, with this replica stopped:
  yardhaspd repair --data %s`, filepath.Join(e.Dir, "history"), e.Err, e.Dir)
	case PartLog:
		return fmt.Sprintf(`the consensus log in %s is damaged or lost its end: %v
It is NEVER mended, and no older copy may be put in its place: a replica that forgot
what it voted for could vote twice, and two yards would be told different things.
This machine can't go on as the member it was. %s comes back as a new one.
%s`, e.Dir, e.Err, e.Yard, e.anew())
	}
	return fmt.Sprintf(`the journal in %s is damaged or lost its end: %v
It is NEVER mended, and no older copy may be put in its place: it held locks that this
yard promised, and nobody can say which are missing. Until it is settled take nothing
at %s as locked because a screen said so: do a person-to-person check.
%s`, filepath.Join(e.Dir, "journal"), e.Err, e.Yard, e.anew())
}

// anew says how a yard begins anew on a fresh directory.
func (e *Damage) anew() string {
	return fmt.Sprintf(`What to do, in this order:
  1. Keep %[1]s as it is, and never start a replica on it or on a copy of it again.
  2. On a fresh disk, with the profile of anybody enrolled:
       yardhaspd prepare-recovery --data NEW-DIR --yard %[2]s --profile PROFILE --listen HOST:PORT
  3. Two managers have the whole yard walked: every point, every box, every zone.
  4. Type what step 2 printed: yardhasp recover-yard, countersign, send; then start NEW-DIR.
  yardhasp recover-yard --help says all of it`, e.Dir, e.Yard)
}

// hindered reports what is no damage, though a store does not open for it.
func hindered(err error) bool {
	if errors.Is(err, store.ErrDirInUse) || errors.Is(err, store.ErrForeign) {
		return true
	}
	for _, e := range []error{fs.ErrPermission, syscall.EMFILE, syscall.ENOSPC, syscall.EROFS} {
		// badger keeps no chain of causes in its errors: only the text tells.
		if errors.Is(err, e) || strings.Contains(err.Error(), e.Error()) {
			return true
		}
	}
	return false
}

// damage puts an error of a part into words, unless it is something else.
func (r *Replica) damage(p Part, err error) error {
	var known *Damage
	if err == nil || errors.As(err, &known) || hindered(err) {
		return err
	}
	return &Damage{Part: p, Dir: r.dir, Yard: r.set.Yard, Err: err}
}

// sorted finds the part that an error speaks of; any other error stays as it is.
func (r *Replica) sorted(err error) error {
	var history *quorum.HistoryError
	var log *quorum.LogError
	var journal *yard.ShortenedError
	switch {
	case errors.As(err, &history):
		return r.damage(PartHistory, err)
	case errors.As(err, &log):
		return r.damage(PartLog, err)
	case errors.As(err, &journal):
		return r.damage(PartJournal, err)
	}
	return err
}

// unreadable notes damage that a reader came upon; it goes on the board of health.
func (r *Replica) unreadable(err error) {
	var d *store.DamagedError
	if errors.As(err, &d) {
		r.node.Faulty(fmt.Sprintf("the history here is damaged: %v: stop this replica and type yardhaspd repair --data %s; locks and promises don't rest on it", err, r.dir))
	}
}
