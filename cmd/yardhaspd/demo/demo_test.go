package demo

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/ledger"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// program is yardhaspd: the one that YARDHASPD names, or one built for the run.
var program = os.Getenv("YARDHASPD")

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "demo-test-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	if program == "" {
		program = filepath.Join(dir, "yardhaspd")
		if out, err := exec.Command("go", "build", "-o", program, "yardhasp/cmd/yardhaspd").CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "build yardhaspd: %v\n%s", err, out)
			os.Exit(1)
		}
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// reader is a page that calls when once, as soon as it holds a word.
type reader struct {
	mu   sync.Mutex
	buf  bytes.Buffer
	word string
	when func()
}

func (r *reader) Write(b []byte) (int, error) {
	r.mu.Lock()
	r.buf.Write(b)
	call := r.when != nil && strings.Contains(r.buf.String(), r.word)
	when := r.when
	if call {
		r.when = nil
	}
	r.mu.Unlock()
	if call {
		when()
	}
	return len(b), nil
}

// TestShift plays the whole demo with --keep, looks around while the yards are
// up, and reads the page.
func TestShift(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	page := &reader{word: "Data of the yards:"}
	page.when = func() {
		defer cancel()
		lookAtBoard(t, filepath.Join(only(t, tmp), "people", "mara", "profile.yaml"))
	}
	if err := run(ctx, page, scenarios[0], true, program); err != nil {
		t.Fatalf("%v\n%s", err, page.buf.String())
	}
	if page.when != nil {
		t.Error("the page never said how to look around")
	}
	if _, err := os.Stat(filepath.Join(only(t, tmp), "yards", "millrow", "journal")); err != nil {
		t.Errorf("with --keep the data should stay: %v", err)
	}
	for _, a := range addresses(t, only(t, tmp)) {
		if c, err := net.Dial("tcp", a); err == nil {
			c.Close()
			t.Errorf("a replica still listens on %s", a)
		}
	}
	text := page.buf.String()
	cautions(t, text, map[string]int{`\bisolates\b`: 1, `work may start`: 1, `\bapproved\b`: 1, `go-ahead`: 4})
	order(t, text, shiftOrder)
	goAheads(t, text)
	if strings.Contains(text, "1970") {
		t.Error("a time is shown that nobody set")
	}
}

// lookAtBoard does what the page says can be done: read the board by a profile.
func lookAtBoard(t *testing.T, profile string) {
	p, err := client.LoadProfile(profile)
	if err != nil {
		t.Error(err)
		return
	}
	key, err := keys.Read(p.KeyPath(), nil)
	if err != nil {
		t.Error(err)
		return
	}
	c, err := client.New(p, key, client.NewMemoryTickets("look"))
	if err != nil {
		t.Error(err)
		return
	}
	defer c.Close()
	b, err := c.Board(t.Context(), servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
	if err != nil || b.GetAsOf().GetYard() != "eastfork" || len(b.GetAsOf().GetYards()) != 3 {
		t.Errorf("the board by %s: %v %v", profile, b.GetAsOf(), err)
	}
}

// only is the one folder the demo made.
func only(t *testing.T, tmp string) string {
	t.Helper()
	dirs, err := filepath.Glob(filepath.Join(tmp, "yardhasp-demo-*"))
	if err != nil || len(dirs) != 1 {
		t.Fatalf("folders of the demo: %v %v", dirs, err)
	}
	return dirs[0]
}

func addresses(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	for y := range yardNames {
		s, err := replica.ReadSettings(filepath.Join(dir, "yards", y))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, s.Listen)
	}
	return out
}

// cautions: the caution stands directly under whatever could be read as leave to
// go on (design.md, rule 7), and no other line uses such words.
func cautions(t *testing.T, text string, counts map[string]int) {
	t.Helper()
	lines := strings.Split(text, "\n")
	for words, want := range counts {
		re, found := regexp.MustCompile("(?i)"+words), 0
		for i, l := range lines {
			if !re.MatchString(l) {
				continue
			}
			found++
			if strings.TrimSpace(lines[i+1]) != ledger.Caution {
				t.Errorf("no caution under %q but %q", l, lines[i+1])
			}
		}
		if found != want {
			t.Errorf("%d lines say %s, want %d", found, words, want)
		}
	}
}

// shiftOrder is what the shift is for.
var shiftOrder = []string{
	`joined with a key of its own`,
	`lena +joined: contractor`,
	`NOT CUT OFF`,
	`millrow/control-panel/stonebend-leg-2 > stonebend/leg-2-control`,
	`this set of 4 points, the fewest there is, isolates`,
	`opened job boot-1 .* entry \d+ +CONFIRMED`,
	`lena +looked at job boot-1 .* of entry \d+`,
	`\| as of \d{4}-`,
	`\| yards not heard from: none`,
	`\| job boot-1`,
	`\| missing before anybody goes in`,
	`supplied by +ravi`,
	`clause +1910\.147\(d\)\(2\)`, // the orderly shut-down
	`this is not permission`,
	`ravi +locked the box`,
	`lena +locked the box`,
	`eastfork +mara +read the board`,
	`Lena \(lena\) holds stonebend/leg-2-box`,
	`read 0 V at stonebend/leg-2-control`,
	`tried stonebend/leg-2-start`,
	`WORK MAY START`,
	`ravi +took off his lock`,
	`\(start-1\) +entry \d+ +REFUSED`,
	`stonebend/leg-2-box \(stonebend/1/\d+\)`, // her lock
	`supplied by +lena`,
	`clause +1910\.147\(e\)\(3\)`,
	`tried to take off lena's lock +no entry +REFUSED`,
	`\(SIGKILL\)`,
	`UNCONFIRMED: last known at`,
	`leads now +of entry \d+ +CONFIRMED`,
	`yards not heard from: \w+`,
	`lena +took off her lock, the last one.* entry \d+ +CONFIRMED`,
	`gets its power back`,
	`all three yards, asked one by one`,
	`\(start-2\) +entry \d+ +REFUSED`,
	`supplied by +lena`,
	`clause +1910\.147\(e\)\(2\)\(i\)`,  // still inside
	`clause +1910\.147\(e\)\(2\)\(ii\)`, // dov is not told
	`\(start-3\) +entry \d+ +CONFIRMED`,
	`millrow +confirmed start-3 +entry \d+`,
	`stonebend +confirmed start-3 +entry \d+`,
	`start-3 approved at entry \d+`,
	`GO-AHEAD`,
	`closed job boot-1`,
	`verified the export.* WHOLE`,
	`verified a copy.* entry \d+ +CHANGED`,
	`entry \d+ is the first that can't be`,
	`\d\d+ things were checked on the way`,
}

// order: what the story is for happens, in this order.
func order(t *testing.T, text string, story []string) {
	t.Helper()
	at := 0
	for _, want := range story {
		loc := regexp.MustCompile(want).FindStringIndex(text[at:])
		if loc == nil {
			t.Fatalf("the page lacks %q after:\n%s", want, text[max(0, at-400):at])
		}
		at += loc[1]
	}
}

// goAheads: a panel shows the go-ahead only right after the ledger took the
// asking at that panel.
func goAheads(t *testing.T, text string) {
	t.Helper()
	lines := strings.Split(text, "\n")
	re := regexp.MustCompile(`^>> panel of (\S+): GO-AHEAD`)
	for i, l := range lines {
		m := re.FindStringSubmatch(l)
		if m != nil && !regexp.MustCompile(`asked at the panel for `+m[1]+` +entry \d+ +CONFIRMED$`).MatchString(lines[i-1]) {
			t.Errorf("the go-ahead of %s stands after %q", m[1], lines[i-1])
		}
	}
}

// TestInterrupted: ended in the middle, the demo leaves no process and no folder.
func TestInterrupted(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var listen []string
	page := &reader{word: "\n3. "}
	page.when = func() {
		listen = addresses(t, only(t, tmp))
		for _, a := range listen {
			c, err := net.Dial("tcp", a)
			if err != nil {
				t.Errorf("nobody listens in the middle of the story: %v", err)
				continue
			}
			c.Close()
		}
		cancel()
	}
	if err := run(ctx, page, scenarios[0], false, program); err == nil || !strings.Contains(err.Error(), "interrupted") {
		t.Errorf("interrupted, and the error is %v", err)
	}
	if len(listen) != 3 {
		t.Fatalf("three yards were up, found %v", listen)
	}
	for _, a := range listen {
		if c, err := net.Dial("tcp", a); err == nil {
			c.Close()
			t.Errorf("a replica still listens on %s", a)
		}
	}
	if left, err := os.ReadDir(tmp); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

// TestUnexpected: what does not go as the script says ends the demo with an error.
func TestUnexpected(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	if err := run(t.Context(), &bytes.Buffer{}, scenarios[0], false, filepath.Join(t.TempDir(), "no-such-program")); err == nil {
		t.Error("without a program for the yards the demo succeeds")
	}
	s := newStory(t.Context(), &bytes.Buffer{}, newFleet("", ""), "")
	defer s.close()
	s.expect(true, "fine")
	if s.err != nil {
		t.Fatal(s.err)
	}
	s.expect(false, "the %s", "first")
	s.expect(false, "the second")
	if s.err == nil || !strings.Contains(s.err.Error(), "the first") || s.steps != 3 {
		t.Errorf("after two things that were not as they must be: %v, %d steps", s.err, s.steps)
	}
}
