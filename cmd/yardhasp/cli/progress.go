package cli

import (
	"fmt"
	"io"
	"time"
)

// progressEvery is how often a long wait says that it continues.
const progressEvery = time.Second

// progress says on stderr, if that is a terminal, how long a wait has lasted, until its
// done is called. A wait of less than a second prints nothing.
func (a *App) progress(what string) (done func()) {
	if !a.ErrTTY {
		return func() {}
	}
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		t := time.NewTicker(progressEvery)
		defer t.Stop()
		began, told := time.Now(), false
		for {
			select {
			case <-stop:
				if told {
					fmt.Fprintln(a.Err)
				}
				return
			case now := <-t.C:
				told = true
				fmt.Fprintf(a.Err, "\r%s: %s", what, now.Sub(began).Round(time.Second))
			}
		}
	}()
	return func() { close(stop); <-stopped }
}

// counting says on stderr how much of a file is written.
type counting struct {
	io.Writer
	a    *App
	what string
	n    int64
	last time.Time
}

func (w *counting) Write(b []byte) (int, error) {
	n, err := w.Writer.Write(b)
	w.n += int64(n)
	if now := w.a.Now(); w.a.ErrTTY && now.Sub(w.last) >= progressEvery {
		w.last = now
		fmt.Fprintf(w.a.Err, "\r%s: %d KiB", w.what, w.n>>10)
	}
	return n, err
}

// done ends the printed line.
func (w *counting) done() {
	if !w.last.IsZero() {
		fmt.Fprintln(w.a.Err)
	}
}
