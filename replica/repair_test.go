package replica_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"yardhasp/ledger/seal"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// files lists a directory's files with an ending, at least one.
func files(t testing.TB, dir, suffix string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "*"+suffix))
	if err != nil || len(found) == 0 {
		t.Fatalf("no file *%s in %s: %v", suffix, dir, err)
	}
	return found
}

// flip changes one bit in the middle of each place where some bytes stand on the disk.
func flip(t testing.TB, dir string, want []byte) {
	t.Helper()
	found := false
	for _, path := range files(t, dir, "") {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		n := bytes.Count(b, want)
		if n == 0 {
			continue
		}
		bad := bytes.Clone(want)
		bad[len(bad)/2] ^= 1
		if err := os.WriteFile(path, bytes.ReplaceAll(b, want, bad), 0o600); err != nil {
			t.Fatal(err)
		}
		found = true
	}
	if !found {
		t.Fatalf("%x is in no file of %s", want, dir)
	}
}

func cutHalf(t testing.TB, path string) {
	t.Helper()
	st, err := os.Stat(path)
	if err == nil {
		err = os.Truncate(path, st.Size()/2)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// repair runs the repair of a stopped yard.
func (c *cluster) repair(yard string) (said string, err error) {
	c.t.Helper()
	var lines []string
	err = replica.Repair(c.ctx(), replica.Config{Dir: c.dirs[yard], Logger: testLog(yard)}, func(l string) { lines = append(lines, l) })
	return strings.Join(lines, "\n"), err
}

// TestRepairHistory: whatever happens to the history on a disk is noticed, by the
// start or by repair; repair sets it aside, fetches it again where the log no longer
// has it, and the yard serves with the root it had before (decisions.md 26).
func TestRepairHistory(t *testing.T) {
	t.Parallel()
	c := three(t, eager)
	c.twoPoints()
	for i := range 40 {
		c.do("nia", "stonebend", actPadlock(fmt.Sprintf("padlock-%d", i), "nia"))
	}
	c.until("a snapshot", func() bool { return c.snapshots("millrow") > 0 })
	history := filepath.Join(c.dirs["millrow"], "history")
	for _, h := range []struct {
		name    string
		harm    func(all [][]byte)
		atStart bool // else only whoever reads the place notices
		aside   bool // else there is nothing to set aside
	}{
		{"nothing", func([][]byte) {}, false, false},
		{"one bit of an old entry", func(all [][]byte) { flip(t, history, all[20]) }, false, true},
		{"one bit of a hash that the root needs", func(all [][]byte) {
			var e seal.Edge
			for _, raw := range all {
				e.Append(raw)
			}
			flip(t, history, e.Hashes[0][:])
		}, true, true},
		{"a table cut short", func([][]byte) { cutHalf(t, files(t, history, ".sst")[0]) }, true, true},
		{"the list of tables gone", func([][]byte) { remove(t, files(t, history, "MANIFEST")[0]) }, true, true},
		{"all of it gone", func([][]byte) { remove(t, history) }, false, false},
	} {
		n := c.size("stonebend")
		all := c.same(n, "stonebend", "millrow", "eastfork") // a yard that lags has no root to compare
		c.halt("millrow")
		h.harm(all)
		if h.atStart {
			c.refuseStart("millrow", "yardhaspd repair --data "+c.dirs["millrow"])
		}
		before, _ := filepath.Glob(history + ".damaged-*")
		said, err := c.repair("millrow")
		if err != nil {
			t.Fatalf("%s: %v\n%s", h.name, err, said)
		}
		after, _ := filepath.Glob(history + ".damaged-*")
		if (len(after) > len(before)) != h.aside || strings.Contains(said, "DAMAGED") != h.aside {
			t.Errorf("%s: set aside %v, and said\n%s", h.name, after, said)
		}
		for _, kept := range after {
			if err := os.Rename(kept, filepath.Join(t.TempDir(), "kept")); err != nil {
				t.Fatal(err)
			}
		}
		if fetched := strings.Contains(said, "were fetched from the other yards"); fetched != (h.name != "nothing") {
			t.Errorf("%s: fetched %v:\n%s", h.name, fetched, said)
		}
		if !strings.Contains(said, "signed with the same root by eastfork, stonebend") {
			t.Errorf("%s: nobody else's signature was seen:\n%s", h.name, said)
		}
		c.start("millrow")
		c.same(n, "millrow", "stonebend")
		c.do("ravi", "millrow", lockOn(legOne, "", ""))
	}
}

// TestDamagedHistoryIsTold: a start that comes upon damage stops, a reader gets no
// entry, and either says so with the command. Which of the two meets it first depends
// on where the block lies.
func TestDamagedHistoryIsTold(t *testing.T) {
	t.Parallel()
	c := one(t, eager)
	for i := range 40 {
		c.do("nia", "stonebend", actPadlock(fmt.Sprintf("padlock-%d", i), "nia"))
	}
	c.until("a snapshot", func() bool { return c.snapshots("stonebend") > 0 })
	all := c.same(c.size("stonebend"), "stonebend")
	c.halt("stonebend")
	flip(t, filepath.Join(c.dirs["stonebend"], "history"), all[20])
	if err := c.tryStart("stonebend"); err != nil {
		if !strings.Contains(err.Error(), "damaged") || !strings.Contains(err.Error(), "yardhaspd repair --data") {
			t.Errorf("it does not start: %v", err)
		}
		return
	}
	c.until("it serves", func() bool {
		_, err := c.board("stonebend", servicev1.Consistency_CONSISTENCY_CONFIRMED)
		return err == nil
	})
	if _, err := c.export("stonebend", 0, uint64(len(all))); err == nil {
		t.Error("a changed entry was sent")
	}
	if h := c.ill("stonebend"); !strings.Contains(h, "yardhaspd repair --data") {
		t.Errorf("health %q", h)
	}
}

// TestRepairTouchesNoPromise: a damaged log or journal is never mended; every byte of
// it stays, and what is said leads to a recovery (decisions.md 7, protocol.md C9).
func TestRepairTouchesNoPromise(t *testing.T) {
	t.Parallel()
	journal := func(dir string) string { return filepath.Join(dir, "journal", "journal") }
	for name, w := range map[string]struct {
		harm func(c *cluster, dir string)
		want []string
		part replica.Part
	}{
		"journal, one bit": {func(c *cluster, dir string) {
			flip(t, filepath.Join(dir, "journal"), []byte(fanOne))
		}, []string{"journal", "NEVER mended", "person-to-person", "prepare-recovery", "recover-yard", "--yard stonebend"}, replica.PartJournal},
		"journal gone": {func(c *cluster, dir string) { remove(t, journal(dir)) }, []string{"is gone", "NEVER mended"}, replica.PartJournal},
		"log, one bit of a table": {func(c *cluster, dir string) {
			flip(t, filepath.Join(dir, "raft"), []byte(fanOne))
		}, []string{"consensus log", "NEVER mended", "vote twice", "prepare-recovery"}, replica.PartLog},
		"log gone":  {func(c *cluster, dir string) { remove(t, filepath.Join(dir, "raft")) }, []string{"is gone", "vote twice"}, replica.PartLog},
		"mark gone": {func(c *cluster, dir string) { remove(t, filepath.Join(dir, "raft.mark")) }, []string{"is gone", "vote twice"}, replica.PartLog},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := one(t)
			c.halt("stonebend")
			dir := c.dirs["stonebend"]
			w.harm(c, dir)
			before, _ := os.ReadFile(journal(dir))
			_, err := c.repair("stonebend")
			var d *replica.Damage
			if !errors.As(err, &d) || d.Part != w.part {
				t.Fatalf("repair: %v", err)
			}
			for _, s := range w.want {
				if !strings.Contains(err.Error(), s) {
					t.Errorf("it does not say %q:\n%v", s, err)
				}
			}
			after, _ := os.ReadFile(journal(dir))
			if !bytes.Equal(before, after) {
				t.Error("the journal was changed")
			}
			if kept, _ := filepath.Glob(filepath.Join(dir, "*.damaged-*")); len(kept) > 0 {
				t.Errorf("something was set aside: %v", kept)
			}
		})
	}
}

// TestRepairOtherRoot: a yard that signs another root of the same entries is named,
// and nothing is called well.
func TestRepairOtherRoot(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.twoPoints()
	c.same(c.size("stonebend"), "stonebend", "millrow", "eastfork")
	c.halt("millrow")
	c.up["eastfork"].Misremember()
	said, err := c.repair("millrow")
	if err == nil || !strings.Contains(err.Error(), "DIFFERENT HISTORIES: eastfork signed another root") {
		t.Errorf("repair: %v\n%s", err, said)
	}
	if !strings.Contains(said, "signed with the same root by stonebend") {
		t.Errorf("what agrees is not said:\n%s", said)
	}
}
