package replica_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/cmd/readme"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica/yard"
)

// buildCLI builds the supervisor's program beside the replica's.
var buildCLI = sync.OnceValues(func() (string, error) {
	bin, err := build()
	if err != nil {
		return "", err
	}
	bin = filepath.Join(filepath.Dir(bin), "yardhasp")
	cmd := exec.Command("go", "build", "-o", bin, "yardhasp/cmd/yardhasp")
	cmd.Stderr = os.Stderr
	return bin, cmd.Run()
})

// desk is where people type commands: their profiles, and the two programs.
type desk struct {
	c   *cluster
	dir string
	cli string
	ran [][]string // what was typed and did what it should, the program first
}

func (c *cluster) desk(people ...string) *desk {
	c.t.Helper()
	cli, err := buildCLI()
	if err != nil {
		c.t.Fatal(err)
	}
	d := &desk{c: c, dir: c.t.TempDir(), cli: cli}
	for _, p := range people {
		if err := keys.Write(filepath.Join(d.dir, p+".key"), c.keys[p], ""); err != nil {
			c.t.Fatal(err)
		}
		prof := &client.Profile{Ledger: c.id, Coop: "Three Forks Grain Co-op", Person: p, Key: p + ".key", Yard: "stonebend", Device: "desk-" + p, Yards: c.yards}
		if err := prof.Save(filepath.Join(d.dir, p+".yaml")); err != nil {
			c.t.Fatal(err)
		}
	}
	return d
}

// run runs a program in the desk's directory; want is its exit code.
func (d *desk) run(want int, name string, args ...string) (stdout, stderr string) {
	d.c.t.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir = d.dir
	cmd.Env = append(os.Environ(), "XDG_STATE_HOME="+filepath.Join(d.dir, "state"), "XDG_CONFIG_HOME="+d.dir)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); cmd.ProcessState == nil || cmd.ProcessState.ExitCode() != want {
		d.c.t.Fatalf("%s %v: %v, want exit %d\n%s%s", filepath.Base(name), args, err, want, &out, &errs)
	}
	if want == 0 {
		d.ran = append(d.ran, append([]string{filepath.Base(name)}, args...))
	}
	return out.String(), errs.String()
}

// playedAll: every command that a section of the pages for people shows was typed
// here and worked, with the flags that it is shown with.
func (d *desk) playedAll(section string) {
	d.c.t.Helper()
	shown, err := readme.Commands("..")
	if err != nil {
		d.c.t.Fatal(err)
	}
	shown = slices.DeleteFunc(shown, func(s readme.Command) bool { return s.Section != section })
	if len(shown) < 5 {
		d.c.t.Fatalf("%d commands are shown under %q", len(shown), section)
	}
	for _, s := range shown {
		if !slices.ContainsFunc(d.ran, func(typed []string) bool { return playsAs(typed, s.Args) }) {
			d.c.t.Errorf("%s shows %q, which was not played", s.Where, s.Args)
		}
	}
}

// playsAs reports whether a typed command is the one shown, with all its flags.
func playsAs(typed, shown []string) bool {
	name := func(args []string) string {
		if len(args) > 1 && !strings.HasPrefix(args[1], "--") {
			return args[0] + " " + args[1]
		}
		return args[0]
	}
	if i := slices.Index(typed, "--profile"); i == 1 { // whose hands they are
		typed = slices.Delete(slices.Clone(typed), 1, 3)
	}
	return name(typed) == name(shown) && !slices.ContainsFunc(shown, func(w string) bool {
		return strings.HasPrefix(w, "--") && !slices.Contains(typed, w)
	})
}

// as runs yardhasp with a person's profile.
func (d *desk) as(person string, want int, args ...string) (stdout, stderr string) {
	d.c.t.Helper()
	return d.run(want, d.cli, append([]string{"--profile", person + ".yaml"}, args...)...)
}

func has(t testing.TB, what, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("%s does not say %q:\n%s", what, w, text)
		}
	}
}

// lateRecord cuts a yard off, has a lock written there that nobody else hears of,
// and ends its machine; it returns the journal record.
func (c *cluster) lateRecord(id, person, point string, others ...string) []byte {
	c.t.Helper()
	for _, y := range others {
		c.kill(y)
	}
	c.cutOff(id)
	if _, err := c.submitAt(person, id, 300, lockOn(point, "", "")); err != nil {
		c.t.Fatal(err)
	}
	c.kill(id)
	f, records, err := yard.Open(filepath.Join(c.dirs[id], "journal"), yard.Header{Yard: id})
	if err != nil {
		c.t.Fatal(err)
	}
	defer f.Close()
	for _, y := range others {
		c.run(y)
	}
	return records[len(records)-1].Sealed
}

// TestLostDiskByCommand plays every command under "A disk is lost" in
// cmd/yardhaspd/README.md with the two programs: a yard's machine is gone with a
// record that nobody heard of; a fresh one is prepared, walked, signed for by three
// keys, and serves in the next epoch as a new member. What was walked holds, what
// waited on the yard is void, and what the old machine wrote comes too late
// (protocol.md C8 to C12).
func TestLostDiskByCommand(t *testing.T) {
	t.Parallel()
	c := three(t, processes(t))
	c.drawn()
	c.joinPerson(&recordv1.Person{Id: "ines", Name: "Ines", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER}})
	c.cleared()
	c.do("nia", "stonebend", actRequest("start-1", "boot-1", time.Hour, feeder, second))
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_APPROVED)
	d := c.desk("nia", "ines")
	m := &freshMachine{dir: filepath.Join(t.TempDir(), "fresh"), addr: freeAddr(t)}
	late := d.prepared(m)
	d.recoverySigned(m, d.walkedDown(m))
	d.servesAgain(m)
	c.requestIs("start-1", recordv1.RequestState_REQUEST_STATE_VOID)
	walked := c.walkedHolds()
	c.tooLate(late)
	c.do("ravi", "millrow", actRelease(walked))
	d.playedAll("A disk is lost")
}

// freshMachine takes the place of millrow's: its data folder, its address, and the key
// that it made.
type freshMachine struct{ dir, addr, key string }

// prepared prepares the machine, which is refused while the old one runs and when a
// replica is there already. It returns a late record of the old machine.
func (d *desk) prepared(m *freshMachine) (late []byte) {
	c, t := d.c, d.c.t
	t.Helper()
	prepare := []string{"prepare-recovery", "--data", m.dir, "--yard", "millrow", "--profile", "nia.yaml", "--listen", m.addr, "--address", m.addr}
	_, errs := d.run(1, c.bin, prepare...)
	has(t, "preparing while the yard runs", errs, "millrow answers the others", "switch its machine off")

	late = c.lateRecord("millrow", "lena", second, "stonebend", "eastfork")
	c.until("millrow is missed", func() bool {
		m, err := c.as("nia", "stonebend").Members(c.ctx(), "")
		return err == nil && m.GetHasQuorum() && m.GetAlive() == 2
	})
	out, _ := d.run(0, c.bin, prepare...)
	key := regexp.MustCompile(`--key (\S+) --address (\S+) --epoch (\d+)`).FindStringSubmatch(out)
	if key == nil || key[2] != m.addr || key[3] != "2" {
		t.Fatalf("what to type next is not said: %v\n%s", key, out)
	}
	m.key = key[1]
	_, errs = d.run(1, c.bin, prepare...)
	has(t, "preparing twice", errs, "holds a replica already")
	return late
}

// walkedDown writes down what was found at the yard. Nothing is written before somebody
// says that the old machine is off. It returns the file with the draft.
func (d *desk) walkedDown(m *freshMachine) (file string) {
	d.c.t.Helper()
	known, _ := d.as("nia", 0, "board", "--at", "millrow", "--all")
	has(d.c.t, "what the ledger knows of the yard", known, second)

	walk := []string{"recover-yard", "millrow", "--second", "ines", "--key", m.key, "--address", m.addr, "--lock", second + " holder=ravi job=boot-1 seen=brass, tag 14",
		"--none-closed", "--inside", "lena=boot-1"}
	_, errs := d.as("nia", 2, walk...)
	has(d.c.t, "no word of the old machine", errs, "--old-machine-off is missing")
	draft, _ := d.as("nia", 0, append(walk, "--old-machine-off")...)
	file = filepath.Join(d.dir, "recovery.txt")
	if err := os.WriteFile(file, []byte(draft), 0o600); err != nil {
		d.c.t.Fatal(err)
	}
	return file
}

// recoverySigned has the second manager and the new machine sign the draft, and sends it.
// It is not taken with fewer signatures.
func (d *desk) recoverySigned(m *freshMachine, file string) {
	d.c.t.Helper()
	d.as("nia", 1, "send", file)
	shown, _ := d.as("ines", 0, "countersign", file)
	has(d.c.t, "what ines signs", shown, "millrow begins epoch 2", "switched off, its disk taken out", "holder ravi", "brass, tag 14", "found inside          lena", "1 locks, 0 handles closed")
	d.as("ines", 1, "send", file)
	d.run(0, d.c.bin, "version") // the fresh machine has the programs, and no profile:
	d.run(0, d.cli, "--profile", "none.yaml", "countersign", file, "--new-key", filepath.Join(m.dir, "replica.key"))
	sent, _ := d.as("ines", 0, "send", file)
	has(d.c.t, "sending", sent, "CONFIRMED")
}

// servesAgain starts the machine and waits until the yard is a voting member again.
func (d *desk) servesAgain(m *freshMachine) {
	c := d.c
	c.t.Helper()
	c.dirs["millrow"] = m.dir
	c.yards = slices.DeleteFunc(c.yards, func(y client.Yard) bool { return y.ID == "millrow" })
	c.learn("millrow", m.addr)
	for id, k := range c.conns {
		k.Close()
		delete(c.conns, id)
	}
	c.run("millrow")
	d.ran = append(d.ran, append([]string{"yardhaspd"}, c.procs["millrow"].Args[1:]...))
	c.until("three members, all voting", func() bool {
		m, err := c.as("nia", "stonebend").Members(c.ctx(), "")
		return err == nil && len(m.GetMembers()) == 3 && m.GetVoters() == 3 && m.GetAlive() == 3
	})
}

// walkedHolds: the yard's new journal begins at its first record, and eastfork's board
// shows the lock that was walked as ravi's. It returns that lock.
func (c *cluster) walkedHolds() string {
	c.t.Helper()
	rec := c.do("ravi", "millrow", lockOn(second, "", ""))
	if rec.GetRef() != "millrow/2/1" || rec.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
		c.t.Errorf("the first lock of the new journal: %s %v", rec.GetRef(), rec.GetStatus())
	}
	b, err := c.board("eastfork", servicev1.Consistency_CONSISTENCY_CONFIRMED)
	if err != nil {
		c.t.Fatal(err)
	}
	walked := ledger.Ref("millrow", 2, ledger.WalkedSeq)
	if !slices.ContainsFunc(b.GetHolds(), func(h *recordv1.HoldView) bool {
		return h.GetRef() == walked && h.GetHolder() == "ravi" && h.GetTarget() == second
	}) {
		c.t.Errorf("the lock that was walked is no hold: %v", b.GetHolds())
	}
	return walked
}

// tooLate sends a record of a lost journal to the leader, as a yard's replica would.
func (c *cluster) tooLate(sealed []byte) {
	c.t.Helper()
	m, err := c.as("nia", "stonebend").Members(c.ctx(), "")
	if err != nil {
		c.t.Fatal(err)
	}
	for _, v := range m.GetMembers() {
		if !v.GetLeader() {
			continue
		}
		key, err := keys.Read(filepath.Join(c.dirs["eastfork"], "replica.key"), nil)
		if err != nil {
			c.t.Fatal(err)
		}
		res, err := servicev1.NewPeerServiceClient(c.dial(key, v.GetYard())).Propose(c.ctx(), &servicev1.ProposeRequest{Entries: [][]byte{ledger.JournalEntry(sealed)}})
		if err != nil || len(res.GetOutcomes()) != 1 || !hasCond(res.GetOutcomes()[0], ledger.OldEpoch) {
			c.t.Errorf("a record of the lost journal: %v %v, want OLD_EPOCH", res, err)
		}
		return
	}
	c.t.Error("nobody leads")
}
