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

// Part is one part of the data in a data directory.
type Part int

const (
	// PartHistory is every entry. Other yards have the entries too, so they can be
	// fetched again.
	PartHistory Part = iota
	// PartLog is raft's log, its vote and its snapshots.
	PartLog
	// PartJournal holds what only this yard wrote down, and what it promised.
	PartJournal
)

// Damage says which part of a data directory is damaged or lost, and what to do. Its
// text is several lines long, because the reader's yard stands still and needs the
// steps.
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

// anew says how to begin a yard anew in a fresh directory.
func (e *Damage) anew() string {
	return fmt.Sprintf(`What to do, in this order:
  1. Keep %[1]s as it is, and never start a replica on it or on a copy of it again.
  2. On a fresh disk, with the profile of anybody enrolled:
       yardhaspd prepare-recovery --data NEW-DIR --yard %[2]s --profile PROFILE --listen HOST:PORT
  3. Two managers have the whole yard walked: every point, every box, every zone.
  4. Type what step 2 printed: yardhasp recover-yard, countersign, send; then start NEW-DIR.
  yardhasp recover-yard --help says all of it`, e.Dir, e.Yard)
}

// hindered reports whether a store did not open for another reason than damage.
func hindered(err error) bool {
	if errors.Is(err, store.ErrDirInUse) || errors.Is(err, store.ErrForeign) {
		return true
	}
	for _, e := range []error{fs.ErrPermission, syscall.EMFILE, syscall.ENOSPC, syscall.EROFS} {
		// badger does not wrap the causes of its errors: only the text tells.
		if errors.Is(err, e) || strings.Contains(err.Error(), e.Error()) {
			return true
		}
	}
	return false
}

// damage words an error as damage of a part, unless it has another cause.
func (r *Replica) damage(p Part, err error) error {
	var known *Damage
	if err == nil || errors.As(err, &known) || hindered(err) {
		return err
	}
	return &Damage{Part: p, Dir: r.dir, Yard: r.set.Yard, Err: err}
}

// sorted finds the part that an error speaks of. Any other error stays as it is.
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

// unreadable notes damage that was met while reading. It shows on the board of health.
func (r *Replica) unreadable(err error) {
	var d *store.DamagedError
	if errors.As(err, &d) {
		r.node.Faulty(fmt.Sprintf("the history here is damaged: %v: stop this replica and type yardhaspd repair --data %s; locks and promises don't rest on it", err, r.dir))
	}
}
