// Package demo plays a shift at an invented co-op of three yards, and checks itself
// as it goes. Each yard has a real replica in a process of its own.
//
// Everything goes through the public client over gRPC, as on the command line. Each
// line on the page says who did what, at which ledger index, and with which status.
// Anything unexpected ends the demo with an error.
package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"
)

// enough bounds the story's time, so that a demo that hangs ends with an error.
const enough = 3 * time.Minute

// Shift is the scenario played when none is named.
const Shift = "shift"

// scenario is a script, and the network that it is played on.
type scenario struct {
	name     string
	network  func() (network, error) // nil: plain loopback
	opening  func(*page)
	chapters []func(*story)
}

// scenarios are all scenarios, the default one first.
var scenarios = []scenario{
	{name: Shift, opening: (*page).opening, chapters: shift},
	{name: "link-down", network: newWires, opening: (*page).openingLinkDown, chapters: linkDown},
}

// Scenarios lists the names of the scenarios.
func Scenarios() []string {
	var out []string
	for _, sc := range scenarios {
		out = append(out, sc.name)
	}
	return out
}

// shift is the script of a whole job.
var shift = []func(*story){
	foundLedger, bringPeople, drawYards,
	computePlan, openJob, checkBeforeDriving,
	shutDownAndOpen, lockOn, readElsewhere,
	releaseStored, proveDead, signOn,
	oneReleases, killLeader, refuseAgain,
	approve, energise, verifyOffline,
}

// Run plays one of Scenarios and writes to out. With keep, the yards then stay up
// until ctx ends or a signal comes, and their data stays on disk.
func Run(ctx context.Context, out io.Writer, name string, keep bool) error {
	exe, err := os.Executable()
	if err != nil {
		return fmt.Errorf("demo: which program this is can't be told: %w", err)
	}
	for _, sc := range scenarios {
		if sc.name == name {
			return run(ctx, out, sc, keep, exe)
		}
	}
	return fmt.Errorf("demo: no scenario %q: there are %s", name, strings.Join(Scenarios(), " and "))
}

// run is Run with exe as the replicas' program.
func run(ctx context.Context, out io.Writer, sc scenario, keep bool, exe string) (err error) {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	dir, err := os.MkdirTemp("", "yardhasp-demo-")
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	f := newFleet(exe, filepath.Join(dir, "yards"))
	if sc.network != nil {
		if f.net, err = sc.network(); err != nil {
			return errors.Join(fmt.Errorf("demo: %w", err), os.RemoveAll(dir))
		}
	}
	defer func() {
		err = errors.Join(err, f.end(keep))
		if !keep {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	if err := play(ctx, out, sc, f, dir); err != nil {
		if ctx.Err() != nil {
			return errors.New("demo: interrupted")
		}
		if text := f.complaints(); text != "" {
			fmt.Fprintf(out, "\nwhat the yards said:\n%s", text)
		}
		if keep {
			fmt.Fprintf(out, "\nthe data is left in %s\n", dir)
		}
		return fmt.Errorf("demo: %w", err)
	}
	if keep {
		lookAround(out, dir)
		<-ctx.Done()
		fmt.Fprintf(out, "\nstopping the yards; the data is left in %s\n", dir)
	}
	return nil
}

// play runs the chapters until one fails.
func play(ctx context.Context, out io.Writer, sc scenario, f *fleet, dir string) error {
	ctx, cancel := context.WithTimeout(ctx, enough)
	defer cancel()
	s := newStory(ctx, out, f, dir)
	defer s.close()
	sc.opening(s.page)
	for _, chapter := range sc.chapters {
		if chapter(s); s.err != nil {
			return s.err
		}
	}
	s.page.closing(s.steps)
	return s.page.err
}

// lookAround says what can be tried while the yards are up.
func lookAround(out io.Writer, dir string) {
	at := func(person string) string { return filepath.Join(dir, "people", person, "profile.yaml") }
	fmt.Fprintf(out, `
The three yards stay up until you press Ctrl-C. In another terminal:

  yardhasp --profile %[1]s board
  yardhasp --profile %[2]s board
  yardhasp --profile %[3]s status
  yardhasp --profile %[1]s job show boot-1
  yardhasp --profile %[2]s verify %[6]s

Profiles of everybody:  %[4]s
Data of the yards:      %[5]s
`, at("ravi"), at("mara"), at("nia-okoro"), filepath.Join(dir, "people", "*", "profile.yaml"), filepath.Join(dir, "yards"), filepath.Join(dir, exportFile))
}
