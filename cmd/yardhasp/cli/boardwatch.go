package cli

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// clearHome empties a terminal and goes to its first line. The program needs nothing
// else from the terminal.
const clearHome = "\x1b[2J\x1b[H"

// hanging is a board that stays on a screen: what it shows, since when, and why it is no
// longer current.
type hanging struct {
	a     *App
	of    boardOf
	every time.Duration
	read  func(context.Context) (*recordv1.Board, error)
	// changed receives a value when something may be new. tick receives one at least
	// every `every`.
	changed <-chan struct{}
	tick    <-chan time.Time
	// began receives the size of the first board.
	began func(size uint64)

	board  *recordv1.Board
	readAt time.Time
	lost   error
}

// errNoAnswer: a reading takes longer than the screen may stand still.
var errNoAnswer = errors.New("no answer yet")

func (a *App) watchBoard(c *cobra.Command, how servicev1.Consistency, of boardOf, every time.Duration) error {
	a.screenProfile()
	cl, err := a.client()
	if err != nil {
		return err
	}
	defer cl.Close()
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	changed := make(chan struct{}, 1)
	poke := func() {
		select {
		case changed <- struct{}{}:
		default:
		}
	}
	ctx, cancel := context.WithCancel(c.Context())
	defer cancel()
	h := &hanging{a: a, of: of, every: every, changed: changed, tick: ticker.C}
	h.read = func(ctx context.Context) (*recordv1.Board, error) {
		ctx, cancel := context.WithTimeout(ctx, a.timeout)
		defer cancel()
		b, err := cl.Board(ctx, how, "")
		if err == nil {
			err = knownYard(c, b.GetAsOf(), of.at)
		}
		return b, err
	}
	h.began = func(size uint64) {
		// The ticks go on without the watch. The watch only shows changes sooner.
		go cl.Watch(ctx, size, func(*recordv1.Outcome) error { poke(); return nil }, func(string, error) { poke() })
	}
	return h.run(ctx)
}

// screenProfile takes the screen's own identity if no profile is named. That identity,
// screen.yaml beside the usual profile, signs nothing.
func (a *App) screenProfile() {
	if a.profilePath != "" {
		return
	}
	usual, err := client.DefaultProfilePath()
	if err != nil {
		return
	}
	own := filepath.Join(filepath.Dir(usual), "screen.yaml")
	if _, err := os.Stat(own); err == nil {
		a.profilePath = own
	}
}

// run draws until ctx ends. That end is no error.
func (h *hanging) run(ctx context.Context) error {
	type answer struct {
		board *recordv1.Board
		err   error
	}
	answers := make(chan answer, 1)
	reading, again, begun := false, false, false
	read := func() {
		reading, again = true, false
		go func() {
			b, err := h.read(ctx)
			answers <- answer{b, err}
		}()
	}
	read()
	for {
		var fault error
		select {
		case <-ctx.Done():
			return nil
		case got := <-answers:
			reading = false
			var use *usageError
			switch {
			case ctx.Err() != nil:
				return nil
			case errors.As(got.err, &use):
				return got.err
			case got.err != nil:
				h.lost = got.err
			default:
				h.board, h.readAt, h.lost = got.board, h.a.Now(), nil
				if !begun && h.began != nil {
					begun = true
					h.began(got.board.GetAsOf().GetSize())
				}
			}
			fault = h.draw()
			if again {
				read()
			}
		case <-h.changed:
			if again = reading; !reading {
				read()
			}
		case <-h.tick:
			if reading {
				// What the screen shows gets older while nobody answers.
				h.lost = errNoAnswer
				fault = h.draw()
			} else {
				read()
			}
		}
		if fault != nil {
			return fault
		}
	}
}

// draw writes the whole screen. A board that is not current must never look current: the
// loss and its age come first, and every word of permission is taken out.
func (h *hanging) draw() error {
	p := &page{a: h.a, of: h.of}
	now := h.a.Now()
	if h.lost != nil {
		p.loud("CONNECTION LOST:", "%s", client.Plain(h.lost))
		if h.board == nil {
			p.line("nothing was read yet: nothing is known here")
		} else {
			p.loud("WHAT IS SHOWN IS OLD:", "read %s, at %s", age(now.Sub(h.readAt)), h.readAt.UTC().Format(time.RFC3339))
		}
	}
	if h.board != nil {
		b := proto.CloneOf(h.board)
		if h.lost != nil {
			if b.AsOf == nil {
				b.AsOf = &recordv1.AsOf{}
			}
			if b.AsOf.Confirmed {
				b.AsOf.ConfirmedUnixMs = b.AsOf.ReadUnixMs
			}
			b.AsOf.Confirmed, b.AsOf.Because = false, client.ConnectionLost.About("")
			for _, j := range b.Jobs {
				j.AsOf = b.AsOf
			}
			p.kept = now.Sub(h.readAt)
		}
		client.WithholdBoard(b)
		p.board(b)
	}
	read := "nothing read yet"
	if h.board != nil {
		read = "read " + age(now.Sub(h.readAt))
	}
	p.line("\n%s, drawn at %s, again within %s: if this time stands still, go by nothing on this screen", read, now.UTC().Format(time.RFC3339), h.every)
	text := p.buf.String()
	if h.a.TTY {
		text = clearHome + text
	} else {
		text += "\n"
	}
	_, err := h.a.Out.Write([]byte(text))
	return err
}
