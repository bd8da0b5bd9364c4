package client_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"yardhasp/client"
)

// A ticket is on disk before it is given out, so that a crash right after never
// leads to a second use: a new source over the same folder goes on after it.
func TestTicketsSurviveCrash(t *testing.T) {
	dir := t.TempDir()
	seen := map[string]bool{}
	for run := range 5 {
		// A new source is what a process that was killed starts with.
		s, err := client.NewFileTickets(dir, "tablet-1")
		if err != nil {
			t.Fatal(err)
		}
		for range run + 1 {
			device, n, err := s.Next()
			if err != nil {
				t.Fatal(err)
			}
			id := fmt.Sprint(device, " ", n)
			if seen[id] {
				t.Fatalf("ticket %s was given out twice", id)
			}
			seen[id] = true
			data, err := os.ReadFile(filepath.Join(dir, "tickets.json"))
			if err != nil || !strings.Contains(string(data), fmt.Sprintf(`"counter":%d}`, n)) {
				t.Fatalf("ticket %s was given out and the file says %s (%v)", id, data, err)
			}
		}
	}
}

// With its folder lost, a machine goes on under another name.
func TestTicketsAfterLostFolder(t *testing.T) {
	dir := t.TempDir()
	s, err := client.NewFileTickets(dir, "tablet-1")
	if err != nil {
		t.Fatal(err)
	}
	first, _, err := s.Next()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "tickets.json")); err != nil {
		t.Fatal(err)
	}
	again, n, err := s.Next()
	if err != nil || again == first {
		t.Errorf("device %q, ticket %d, error %v: want another device than %q", again, n, err, first)
	}
}

func TestTicketsDamagedFile(t *testing.T) {
	for _, content := range []string{"", "{", `{"device":"tablet-1","counter":0}`, `{"device":"","counter":4}`} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "tickets.json"), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := client.NewFileTickets(dir, "tablet-1")
		if err != nil {
			t.Fatal(err)
		}
		if device, n, err := s.Next(); err == nil {
			t.Errorf("%q: ticket %s %d, want an error", content, device, n)
		}
	}
}

// Many at once, as from two terminals.
func TestTicketsAtOnce(t *testing.T) {
	dir := t.TempDir()
	var mu sync.Mutex
	var wg sync.WaitGroup
	seen := map[uint64]int{}
	for range 4 {
		wg.Go(func() {
			s, err := client.NewFileTickets(dir, "tablet-1")
			if err != nil {
				t.Error(err)
				return
			}
			for range 10 {
				_, n, err := s.Next()
				if err != nil {
					t.Error(err)
					return
				}
				mu.Lock()
				seen[n]++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	for n := uint64(1); n <= 40; n++ {
		if seen[n] != 1 {
			t.Errorf("ticket %d was given out %d times", n, seen[n])
		}
	}
}
