package cli

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// hung is a board that hangs, driven by hand inside a synctest bubble.
type hung struct {
	*hanging
	out     guarded
	answers chan func() (*recordv1.Board, error)
	changed chan struct{}
	ended   chan error
	stop    context.CancelFunc
}

func hang(t *testing.T, tty bool) *hung {
	a, _ := testApp(nil)
	u := &hung{answers: make(chan func() (*recordv1.Board, error)), changed: make(chan struct{}), ended: make(chan error, 1)}
	a.Out, a.TTY, a.Now, a.color = &u.out, tty, time.Now, "never"
	ticker := time.NewTicker(15 * time.Second)
	u.hanging = &hanging{a: a, every: 15 * time.Second, changed: u.changed, tick: ticker.C, read: func(ctx context.Context) (*recordv1.Board, error) {
		select {
		case f := <-u.answers:
			return f()
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}}
	ctx, cancel := context.WithCancel(t.Context())
	u.stop = func() { cancel(); ticker.Stop() }
	go func() { u.ended <- u.run(ctx) }()
	return u
}

// guarded is a buffer of two goroutines: a timer that wakes one is no order to the
// race detector.
type guarded struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (g *guarded) Write(b []byte) (int, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.buf.Write(b)
}

func (g *guarded) take() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	defer g.buf.Reset()
	return g.buf.String()
}

// next gives what was written since, once everything rests.
func (u *hung) next() string {
	synctest.Wait()
	return u.out.take()
}

func mayBoard() (*recordv1.Board, error) {
	j := mayStart(true)
	return &recordv1.Board{AsOf: asOf(true), Jobs: []*recordv1.JobView{j}, Requests: j.Requests}, nil
}

func down() (*recordv1.Board, error) { return nil, errors.New("eastfork does not answer") }

// It is drawn at every change and at every tick, and ends without an error when it
// is interrupted.
func TestHangingBoardDraws(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := hang(t, false)
		if got := u.next(); got != "" {
			t.Errorf("before any answer: %q", got)
		}
		u.answers <- mayBoard
		if got := u.next(); !strings.HasPrefix(got, "as of ") || !strings.Contains(got, "work may start") || strings.Contains(got, "\x1b") {
			t.Errorf("first drawing:\n%s", got)
		}
		u.changed <- struct{}{}
		u.answers <- mayBoard
		if got := u.next(); strings.Count(got, "as of ") != 1 {
			t.Errorf("after a change:\n%s", got)
		}
		<-time.After(15*time.Second + 1)
		u.answers <- mayBoard
		if got := u.next(); strings.Count(got, "as of ") != 1 || !strings.Contains(got, "read less than 1 min ago, drawn at 2000-01-01T00:00:15Z, again within 15s") {
			t.Errorf("after 15 s:\n%s", got)
		}
		// A change while it is read is not lost.
		u.changed <- struct{}{}
		u.changed <- struct{}{}
		u.answers <- mayBoard
		u.answers <- mayBoard
		if got := u.next(); strings.Count(got, "as of ") != 2 {
			t.Errorf("a change during a reading:\n%s", got)
		}
		u.stop()
		if err := <-u.ended; err != nil {
			t.Errorf("interrupted: %v", err)
		}
	})
}

var permission = regexp.MustCompile(`(?i)may.start|approved`)

// When the connection is lost that comes first, with the age; no word of permission
// is left; and it is current again only after an answer (design.md, rule 4).
func TestHangingBoardLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := hang(t, false)
		u.answers <- down
		if got := u.next(); !strings.HasPrefix(got, "CONNECTION LOST: eastfork does not answer\nnothing was read yet") {
			t.Errorf("never connected:\n%s", got)
		}
		u.changed <- struct{}{}
		u.answers <- mayBoard
		u.next()
		<-time.After(15*time.Second + 1)
		u.answers <- down
		got := u.next()
		if !strings.HasPrefix(got, "CONNECTION LOST: eastfork does not answer\nWHAT IS SHOWN IS OLD: read less than 1 min ago") {
			t.Errorf("lost:\n%s", got)
		}
		// Four more ticks, nobody answering: the age goes on though no reading ends.
		<-time.After(60 * time.Second)
		got = u.next()
		screens := strings.Split(strings.TrimSpace(got), "CONNECTION LOST: ")
		last := screens[len(screens)-1]
		if len(screens) < 4 || !strings.HasPrefix(last, "no answer yet\nWHAT IS SHOWN IS OLD: read 1 min ago") || !strings.Contains(last, "UNCONFIRMED: last known at 2026-09-21T14:20:00Z, 1 min ago") {
			t.Errorf("a minute later, %d screens:\n%s", len(screens)-1, last)
		}
		if w := permission.FindString(got); w != "" {
			t.Errorf("%q is on a screen that is not current:\n%s", w, got)
		}
		u.answers <- mayBoard
		if got := u.next(); !strings.HasPrefix(got, "as of ") || !strings.Contains(got, "work may start") {
			t.Errorf("connected again:\n%s", got)
		}
		u.stop()
		<-u.ended
	})
}

// On a terminal each drawing begins with clear and home, and has no other escape.
func TestHangingBoardOnATerminal(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := hang(t, true)
		u.answers <- mayBoard
		got := u.next()
		if !strings.HasPrefix(got, "\x1b[2J\x1b[H") || strings.Count(got, "\x1b") != 2 {
			t.Errorf("%q", got)
		}
		u.stop()
		<-u.ended
	})
}

// A yard that isn't the co-op's ends it: a board of no yard is no board.
func TestHangingBoardOfNoYard(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		u := hang(t, false)
		u.answers <- func() (*recordv1.Board, error) { return nil, &usageError{"none of the yards", "board"} }
		if err := <-u.ended; err == nil {
			t.Error("it hangs on")
		}
		u.stop()
	})
}

// The screen's own profile is taken where it is and no other is named.
func TestScreenProfile(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", dir)
	a, _ := testApp(nil)
	if a.screenProfile(); a.profilePath != "" {
		t.Errorf("without one: %q", a.profilePath)
	}
	own := filepath.Join(dir, "yardhasp", "screen.yaml")
	if err := errors.Join(os.MkdirAll(filepath.Dir(own), 0o700), os.WriteFile(own, nil, 0o600)); err != nil {
		t.Fatal(err)
	}
	if a.screenProfile(); a.profilePath != own {
		t.Errorf("with one: %q", a.profilePath)
	}
	a.profilePath = "mine.yaml"
	if a.screenProfile(); a.profilePath != "mine.yaml" {
		t.Errorf("named: %q", a.profilePath)
	}
}

// Drawing leaves the board as it was read: the next drawing shows all of it again.
func TestHangingBoardKeepsItsBoard(t *testing.T) {
	a, _ := testApp(nil)
	b, _ := mayBoard()
	h := &hanging{a: a, board: b, readAt: a.Now(), lost: errNoAnswer, of: boardOf{filter: filter{job: "other"}}}
	before := proto.CloneOf(b)
	if err := h.draw(); err != nil || !proto.Equal(before, b) {
		t.Errorf("drawing changed it: %v", err)
	}
}
