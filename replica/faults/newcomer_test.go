package faults_test

import (
	"context"
	"path/filepath"
	"testing"
	"time"
)

// TestNewcomerLeads: a yard joins while another is cut off, and leads by the time that
// one is back. Its key is unknown there, so nothing of it is let in; the yard that was
// away finds out who it is from the others, and catches up.
func TestNewcomerLeads(t *testing.T) {
	played(t, func(ctx context.Context, w *world) {
		const away = "eastfork"
		a, b := others(away)
		w.dirs[newcomer] = filepath.Join(w.root, newcomer)
		for _, y := range []string{a, b, newcomer} {
			w.net.hold(way{away, y}, way{y, away})
		}
		if !w.comes("a leader that is not cut off", func() bool { l := w.leader(); return l == a || l == b }) {
			return
		}
		over, cancel := context.WithCancel(ctx)
		cancel() // nobody works there
		w.grow(over, a, b, 0, 1)
		if err := w.votes(4, away); err != nil {
			w.wrong("%v", err)
			return
		}
		for try := 0; try < 40 && w.leader() != newcomer; try++ {
			if lead := w.leader(); lead != "" && w.running(lead) {
				if err := w.killed(1500*time.Millisecond, lead); err != nil {
					w.wrong("%v", err)
				}
			}
			w.restarts.Wait()
			pass(2 * time.Second)
		}
		if w.leader() != newcomer {
			w.wrong("%s never leads: the scenario shows nothing", newcomer)
		}
	})
}
