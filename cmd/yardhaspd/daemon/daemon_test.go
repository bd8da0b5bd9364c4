package daemon

import (
	"bytes"
	"crypto/ed25519"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/client/token"
	"yardhasp/replica"
)

func run(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = Main(args, &out, &err)
	return code, out.String(), err.String()
}

func foundArgs(dir string, more ...string) []string {
	return append([]string{"found", "--data", dir, "--yard", "stonebend", "--coop", "Three Forks Grain Co-op", "--manager", "nia-okoro", "--no-passphrase"}, more...)
}

// TestFound: the data directory, the key and the profile fit together.
func TestFound(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	code, out, errs := run(foundArgs(dir)...)
	if code != exitOK {
		t.Fatalf("found: exit %d: %s", code, errs)
	}
	if !strings.Contains(out, "yardhasp --profile "+filepath.Join(dir, "profile.yaml")+" status") {
		t.Errorf("the next command to type is not printed:\n%s", out)
	}
	s, err := replica.ReadSettings(dir)
	if err != nil || s.Yard != "stonebend" || !s.Founder {
		t.Fatalf("settings %+v: %v", s, err)
	}
	p, err := client.LoadProfile(filepath.Join(dir, "profile.yaml"))
	if err != nil || p.Person != "nia-okoro" || len(p.Yards) != 1 {
		t.Fatalf("profile %+v: %v", p, err)
	}
	pub, err := replica.PublicKey(dir)
	if err != nil || !bytes.Equal(pub, p.Yards[0].Key) {
		t.Errorf("the profile pins another key than the replica has: %v", err)
	}
	if code, _, errs = run(foundArgs(dir)...); code != exitFailed || !strings.Contains(errs, "holds a replica already") {
		t.Errorf("founding twice in one directory: exit %d: %s", code, errs)
	}
}

// TestPassphrase: the manager's key is protected by the file's first line.
func TestPassphrase(t *testing.T) {
	dir := t.TempDir()
	pass := filepath.Join(dir, "pass")
	if err := os.WriteFile(pass, []byte("grain over gate\nsecond line\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	args := foundArgs(filepath.Join(dir, "data"), "--passphrase-file", pass)
	args = append(args[:len(args)-3:len(args)-3], args[len(args)-2:]...) // without --no-passphrase
	if code, _, errs := run(args...); code != exitOK {
		t.Fatalf("exit %d: %s", code, errs)
	}
	path := filepath.Join(dir, "data", "manager.key")
	if _, err := keys.Read(path, func() (string, error) { return "wrong", nil }); err == nil {
		t.Error("the key opens with a wrong passphrase")
	}
	if _, err := keys.Read(path, func() (string, error) { return "grain over gate", nil }); err != nil {
		t.Errorf("the key does not open with its passphrase: %v", err)
	}
}

// TestRefusals: what is wrong, and the exit code of each kind.
func TestRefusals(t *testing.T) {
	dir := t.TempDir()
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, 32))
	person, err := token.Encode(&token.Token{Ledger: make([]byte, 32), Coop: "x", Kind: token.Person, ID: "ravi", Invitation: "inv", Seed: key.Seed(),
		ExpiresUnixMs: time.Now().Add(time.Hour).UnixMilli(), Yards: []token.Peer{{ID: "a", Address: "127.0.0.1:1", Key: key.Public().(ed25519.PublicKey)}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		args []string
		code int
		want string
	}{
		{"unknown command", []string{"lock"}, exitUsage, `unknown command "lock"`},
		{"unknown flag", []string{"--fast"}, exitUsage, "unknown flag"},
		{"unknown scenario", []string{"demo", "--scenario", "flood"}, exitUsage, "there are shift and link-down"},
		{"no co-op", []string{"found", "--data", dir, "--yard", "a", "--manager", "b", "--no-passphrase"}, exitUsage, "--coop is needed"},
		{"bad yard", []string{"found", "--data", filepath.Join(dir, "1"), "--yard", "East Fork", "--coop", "c", "--manager", "b", "--no-passphrase"}, exitFailed, "lower-case letters"},
		{"bad manager", []string{"found", "--data", filepath.Join(dir, "2"), "--yard", "a", "--coop", "c", "--manager", "B", "--no-passphrase"}, exitFailed, "lower-case letters"},
		{"no token", []string{"join", "--data", dir}, exitUsage, "invitation's token"},
		{"no invitation", []string{"join", "hello", "--data", filepath.Join(dir, "3")}, exitFailed, "this is no invitation"},
		{"a person's invitation", []string{"join", person, "--data", filepath.Join(dir, "4")}, exitFailed, "for a person"},
		{"no yard to recover", []string{"prepare-recovery", "--data", filepath.Join(dir, "6"), "--profile", "p.yaml"}, exitUsage, "--yard is needed"},
		{"nobody to ask by", []string{"prepare-recovery", "--data", filepath.Join(dir, "6"), "--yard", "a"}, exitUsage, "--profile is needed"},
		{"no such profile", []string{"prepare-recovery", "--data", filepath.Join(dir, "6"), "--yard", "a", "--profile", filepath.Join(dir, "none.yaml")}, exitFailed, "read profile"},
		{"nothing to repair", []string{"repair", "--data", filepath.Join(dir, "6")}, exitFailed, "replica.yaml"},
		{"bad timers", []string{"join", person, "--data", filepath.Join(dir, "5"), "--timers", "fast"}, exitFailed, ""},
	} {
		code, _, errs := run(c.args...)
		if code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%s: exit %d, %q; want %d and %q", c.name, code, errs, c.code, c.want)
		}
		if c.code == exitUsage && !strings.Contains(errs, "hint:") {
			t.Errorf("%s: no hint: %q", c.name, errs)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "replica.yaml"), []byte("yard: a\nledger: b\nlisten: c\ncolour: red\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := run("--data", dir); code != exitFailed || !strings.Contains(errs, "colour") {
		t.Errorf("unknown setting: exit %d: %s", code, errs)
	}
}

// TestRepairCommand: nothing that never ran is repaired; of a whole replica every
// part is said to be well, and what comes next; a lost journal is said to be lost,
// in lines that a tired person can follow, with exit code 1.
func TestRepairCommand(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	if code, _, errs := run(foundArgs(dir, "--listen", "127.0.0.1:0", "--address", "127.0.0.1:1")...); code != exitOK {
		t.Fatal(errs)
	}
	if code, _, errs := run("repair", "--data", dir); code != exitFailed || !strings.Contains(errs, "no replica ever ran") {
		t.Errorf("never started: exit %d: %s", code, errs)
	}
	r, err := replica.Open(replica.Config{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	if code, _, errs := run("repair", "--data", dir); code != exitFailed || !strings.Contains(errs, "in use") {
		t.Errorf("while it runs: exit %d: %s", code, errs)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	code, out, errs := run("repair", "--data", dir)
	for _, want := range []string{"journal: well", "log: well", "history: well", "start it: yardhaspd --data " + dir} {
		if code != exitOK || !strings.Contains(out, want) {
			t.Errorf("exit %d, without %q: %s%s", code, want, out, errs)
		}
	}
	if err := os.Remove(filepath.Join(dir, "journal", "journal")); err != nil {
		t.Fatal(err)
	}
	code, out, errs = run("repair", "--data", dir)
	if code != exitFailed || !strings.Contains(out, "log: well") || strings.Contains(out, "journal: well") {
		t.Errorf("exit %d: %s", code, out)
	}
	for _, want := range []string{"NEVER mended", "What to do, in this order:", "yardhaspd prepare-recovery --data NEW-DIR --yard stonebend", "recover-yard --help"} {
		if !strings.Contains(errs, want) {
			t.Errorf("it does not say %q: %s", want, errs)
		}
	}
	if code, _, errs := run("--data", dir); code != exitFailed || !strings.Contains(errs, "NEVER mended") {
		t.Errorf("a start says something else: exit %d: %s", code, errs)
	}
}
