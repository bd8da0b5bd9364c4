package replica

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"yardhasp/ledger/code"
)

// A divergence is kept in the data directory as divergence-<size>.txt, with both
// checkpoints, for the people who look into it. While the file is there the alarm
// stands, after a restart too.

const noteRule = "==\n" // between the parts; no checkpoint has such a line

func (d *divergence) text() string {
	return d.String() + "\n" + noteRule + d.notes[0] + noteRule + d.notes[1]
}

// keepEvidence writes the divergences that are not on the disk yet. The alarm does not
// wait for this. What fails is tried again.
func (r *Replica) keepEvidence() {
	r.evidence.Lock()
	defer r.evidence.Unlock()
	r.mu.Lock()
	ds := append([]divergence(nil), r.divergences...)
	r.mu.Unlock()
	for i, d := range ds {
		if d.kept {
			continue
		}
		path := filepath.Join(r.dir, fmt.Sprintf("divergence-%d.txt", d.size))
		if _, err := os.Stat(path); err == nil { // of another pair of yards
			path = filepath.Join(r.dir, fmt.Sprintf("divergence-%d-%s-%s.txt", d.size, d.yards[0], d.yards[1]))
		}
		if err := writeFile(path, []byte(d.text()), 0o600); err != nil {
			r.log.Error("the two checkpoints can't be kept", "err", err)
			continue
		}
		r.mu.Lock()
		r.divergences[i].kept = true // same index: the list only ever grows at its end
		r.mu.Unlock()
	}
}

// EvidenceUnreadable: the files show that replicas signed different roots, but can't
// be read.
var EvidenceUnreadable = code.New("EVIDENCE_UNREADABLE", code.Row{Args: "files:text"})

// readEvidence raises the alarm again for every file that is there, also for one that
// can't be read. It runs before anything is promised.
func (r *Replica) readEvidence() error {
	found, err := filepath.Glob(filepath.Join(glob(r.dir), "divergence-*.txt"))
	if err != nil {
		return err
	}
	var broken []string
	for _, path := range found {
		raw, err := os.ReadFile(path)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		var d divergence
		if err != nil || !d.read(string(raw)) {
			broken = append(broken, filepath.Base(path))
			continue
		}
		r.divergences = append(r.divergences, d)
	}
	switch {
	case len(r.divergences) > 0:
		r.alarm = alarmOf(r.divergences)
	case len(broken) > 0:
		r.alarm = HistoriesDiffer.About("", EvidenceUnreadable.About("", strings.Join(broken, ", ")))
		r.log.Error("replicas hold different histories, and what they signed can't be read", "files", broken)
	}
	for i := range r.divergences {
		r.log.Error("replicas hold different histories", "what", r.divergences[i].String())
	}
	return nil
}

// read parses what text wrote.
func (d *divergence) read(text string) bool {
	parts := strings.Split(text, noteRule)
	if len(parts) != 3 {
		return false
	}
	if n, err := fmt.Sscanf(parts[0], "%s and %s signed different roots of the first %d entries\n", &d.yards[0], &d.yards[1], &d.size); n != 3 || err != nil {
		return false
	}
	d.notes, d.kept = [2]string{parts[1], parts[2]}, true
	return true
}

// glob escapes a path for filepath.Glob.
func glob(path string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}
