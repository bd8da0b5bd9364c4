package demo

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// exportFile is the history's file in the demo's folder.
const exportFile = "history.export"

// verifyOffline exports the history and checks it without asking a yard. It then shows
// that the check finds one changed byte.
func verifyOffline(s *story) {
	s.page.heading("The history is checked with no yard asked",
		"Who locked what, and when, must still be provable years later, by somebody who trusts none of the boxes.")
	if s.err != nil {
		return
	}
	s.caughtUp()
	good, bad := filepath.Join(s.dir, exportFile), filepath.Join(s.dir, "history-changed.export")
	if !s.must(s.export(good), "export the history") {
		return
	}
	v, err := client.Verify(good, s.ledger)
	if !s.must(err, "verify the export") {
		return
	}
	s.page.act("offline", "mara", "verified the export: every signature, every rule, every entry", fmt.Sprintf("0 to %d", v.Size-1), "WHOLE")
	s.page.say("root %s..., signed by %s; the %d refusals stay in the history too", v.Root[:16], strings.Join(v.SignedBy, ", "), s.refusals)
	s.entryOf("the last entry", v.Size-1, func(*recordv1.Outcome) bool { return true })
	s.expect(v.Size == s.size(), "the export has %d entries, %d were heard", v.Size, s.size())
	at, refusals := uint64(0), 0
	s.mu.Lock()
	for _, o := range s.heard {
		// Two refusals are no events of the story. A journal record may arrive twice,
		// and a yard's confirmation may arrive after its request is void. Both change
		// nothing.
		if !o.GetAccepted() && o.GetKind() != "fence" && !codesOf(o.GetConditions(), ledger.InLedger) {
			refusals++
		}
		if o.GetKind() == "lock" && o.GetSigner() == "lena" {
			at = o.GetIndex()
		}
	}
	s.mu.Unlock()
	s.expect(refusals == s.refusals, "the ledger has %d refusals, the page shows %d", refusals, s.refusals)
	if !s.must(changeByte(good, bad, at, padlocks["lena"]), "change one byte of a copy") {
		return
	}
	_, err = client.Verify(bad, s.ledger)
	var tampered *client.Tampered
	if !errors.As(err, &tampered) {
		s.fail("one byte of entry %d was changed and the export passes: %v", at, err)
		return
	}
	s.page.act("offline", "mara", "verified a copy in which one digit of lena's padlock was changed", entry(at), "CHANGED")
	s.page.say("%s", tampered.Text)
	s.expect(strings.Contains(tampered.Text, entry(at)), "the failure does not name entry %d: %s", at, tampered.Text)
}

// export writes the history as mara's yard holds it.
func (s *story) export(path string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = s.who["mara"].Export(s.ctx, f)
	return errors.Join(err, f.Close())
}

// changeByte copies an export. In one entry it changes the first byte of a word.
func changeByte(from, to string, at uint64, word string) error {
	raw, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	var block []byte
	if _, err := client.ReadExport(bytes.NewReader(raw), func(index uint64, entry []byte) error {
		if index == at {
			block = entry
		}
		return nil
	}); err != nil {
		return err
	}
	place, inside := bytes.Index(raw, block), bytes.Index(block, []byte(word))
	if len(block) == 0 || place < 0 || inside < 0 {
		return fmt.Errorf("entry %d does not hold %q", at, word)
	}
	raw[place+inside] ^= 1
	return os.WriteFile(to, raw, 0o600)
}
