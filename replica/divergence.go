package replica

import (
	"fmt"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// divergence is two checkpoints of one size with different roots, each signed by a
// yard's replica. One of the two replicas does not hold the co-op's history, and
// nobody can say which. A replica that knows of a divergence gives no permission: no
// fence, no promise, no go-ahead, no confirmed reading. It still writes facts down.
// Only people can end this, by hand: see the package comment.
type divergence struct {
	size  uint64
	yards [2]string // in alphabetical order
	notes [2]string // what each of them signed
	kept  bool      // written to the disk
}

func (d *divergence) String() string {
	return fmt.Sprintf("%s and %s signed different roots of the first %d entries", d.yards[0], d.yards[1], d.size)
}

const (
	// maxDivergences bounds how many are remembered, and shown to another replica.
	maxDivergences = 32
	// maxNote bounds a checkpoint of another replica, in bytes.
	maxNote = 4096
)

var (
	// HistoriesDiffer: nothing is approved, promised or confirmed until people have
	// settled it.
	HistoriesDiffer = code.New("HISTORIES_DIFFER", code.Row{Args: "because:why"})
	// RootsDiffer: two yards signed different roots for the same entries.
	RootsDiffer = code.New("ROOTS_DIFFER", code.Row{Args: "first second size:number"})
	// HistoryInDoubt: a reading is not confirmed, because replicas hold different
	// histories.
	HistoryInDoubt = code.New("HISTORY_IN_DOUBT", code.Row{})
)

func (d *divergence) finding() *recordv1.Finding {
	return RootsDiffer.About(d.yards[0], d.yards[0], d.yards[1], d.size)
}

// alarmOf names the first few divergences, and how many more there are.
func alarmOf(ds []divergence) *recordv1.Finding {
	var out []*recordv1.Finding
	for i := range ds {
		out = append(out, ds[i].finding())
	}
	if n := len(out) - 3; n > 0 {
		out = append(out[:3], ledger.MoreReasons.About("", n))
	}
	return HistoriesDiffer.About("", out)
}

// rootAt is this replica's root of the first size entries, false when it is not known.
// The history is asked only up to where it is known to fit the state.
func (r *Replica) rootAt(size uint64) (root [32]byte, ok bool) {
	if root, ok = r.roots.At(size); ok {
		return root, true
	}
	if size == 0 || size > r.history.Size() || r.node.HistoryBehind() || r.node.HistoryFault() != "" {
		return root, false
	}
	root, err := r.history.TreeHash(size)
	if err != nil {
		r.log.Warn("the root of earlier entries can't be read from the history", "size", size, "err", err)
	}
	return root, err == nil
}

// sign makes this replica's checkpoint.
func (r *Replica) sign(size uint64, root [32]byte) (string, error) {
	signer, err := seal.NewNoteSigner(r.set.Yard, r.key)
	if err != nil {
		return "", err
	}
	msg, err := seal.SignCheckpoint(seal.Origin(r.ledgerID()), size, root, signer)
	return string(msg), err
}

// verified reads a checkpoint. The yard's replica must have signed it with the key
// that the ledger has for it now.
func (r *Replica) verified(yard, text string) (size uint64, root [32]byte, err error) {
	if len(text) > maxNote {
		return 0, root, fmt.Errorf("the checkpoint has %d bytes, more than %d", len(text), maxNote)
	}
	var key []byte
	r.node.View(func(s *ledger.State, _ uint64) {
		if y := s.Yards[yard]; y != nil {
			key = y.Key
		}
	})
	if key == nil {
		return 0, root, fmt.Errorf("yard %q is not in the ledger that this replica has", yard)
	}
	v, err := seal.VerifierFor(yard, key)
	if err != nil {
		return 0, root, err
	}
	return seal.OpenCheckpoint([]byte(text), seal.Origin(r.ledgerID()), note.VerifierList(v))
}

// compare compares a yard's verified checkpoint with what this replica has.
func (r *Replica) compare(yard string, size uint64, root [32]byte, text string) error {
	own, ok := r.rootAt(size)
	if !ok || own == root {
		return nil
	}
	mine, err := r.sign(size, own)
	if err != nil {
		return err
	}
	r.raise(divergence{size: size, yards: [2]string{r.set.Yard, yard}, notes: [2]string{mine, text}})
	return nil
}

// raise notes a divergence, once for each pair of yards.
func (r *Replica) raise(d divergence) {
	if d.yards[0] > d.yards[1] {
		d.yards[0], d.yards[1] = d.yards[1], d.yards[0]
		d.notes[0], d.notes[1] = d.notes[1], d.notes[0]
	}
	r.mu.Lock()
	known := len(r.divergences) >= maxDivergences ||
		slices.ContainsFunc(r.divergences, func(o divergence) bool { return o.yards == d.yards })
	if !known {
		r.divergences = append(r.divergences, d)
		r.alarm = alarmOf(r.divergences)
	}
	alarm := r.alarm
	r.mu.Unlock()
	if known {
		return
	}
	r.log.Error("replicas hold different histories", "what", d.String())
	r.yard.diverged(alarm)
	r.keepEvidence()
	select {
	case r.tell <- struct{}{}:
	default:
	}
	r.moved()
}

// diverged stops the yard's promises. When it returns, no promise is under way.
func (d *driver) diverged(because *recordv1.Finding) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.y.Diverged(because)
}

// shown lists the divergences for another replica.
func (r *Replica) shown() []*servicev1.Divergence {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []*servicev1.Divergence
	for _, d := range r.divergences {
		if d.notes[0] != "" && d.notes[1] != "" {
			out = append(out, &servicev1.Divergence{First: d.notes[0], Second: d.notes[1]})
		}
	}
	return out
}

// take notes the divergences that another replica shows, if their signatures prove
// them. The replica that shows them need not be trusted.
func (r *Replica) take(from string, shown []*servicev1.Divergence) {
	for _, m := range shown[:min(len(shown), maxDivergences)] {
		if err := r.takeOne(m); err != nil {
			r.log.Warn("a yard shows two histories that prove nothing: ignored", "yard", from, "err", err)
		}
	}
}

func (r *Replica) takeOne(m *servicev1.Divergence) error {
	var d divergence
	var sizes [2]uint64
	var roots [2][32]byte
	for i, text := range []string{m.GetFirst(), m.GetSecond()} {
		yard, err := signerOf(text)
		if err == nil {
			sizes[i], roots[i], err = r.verified(yard, text)
		}
		if err != nil {
			return err
		}
		d.yards[i], d.notes[i] = yard, text
	}
	if sizes[0] != sizes[1] || roots[0] == roots[1] {
		return fmt.Errorf("the checkpoints of %s and %s do not contradict each other", d.yards[0], d.yards[1])
	}
	d.size = sizes[0]
	r.raise(d)
	return nil
}

// signerOf reads the name on a checkpoint's first signature line: "— name signature"
// (C2SP signed-note). It does not check the signature. verified does.
func signerOf(text string) (string, error) {
	if len(text) > maxNote {
		return "", fmt.Errorf("the checkpoint has %d bytes, more than %d", len(text), maxNote)
	}
	_, sigs, ok := strings.Cut(text, "\n\n— ")
	name, _, named := strings.Cut(sigs, " ")
	if !ok || !named || !ledger.Name(name) {
		return "", fmt.Errorf("the checkpoint names no signer")
	}
	return name, nil
}
