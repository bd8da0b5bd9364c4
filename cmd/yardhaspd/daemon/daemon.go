// Package daemon is the command line of yardhaspd.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"syscall"

	"github.com/spf13/cobra"

	"yardhasp/replica"
)

// Exit codes.
const (
	exitOK      = 0
	exitFailed  = 1
	exitUsage   = 2
	exitStopped = 3 // stopped by itself; the log says why
)

type usageError struct{ error }

type options struct {
	dir, listen string
	admin       string
	verbose     bool
	out, err    io.Writer
}

// Main runs the command line and returns the exit code.
func Main(args []string, stdout, stderr io.Writer) int {
	o := &options{out: stdout, err: stderr}
	root := command(o)
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.Execute()
	var usage *usageError
	var stopped *stoppedError
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &usage):
		fmt.Fprintf(stderr, "yardhaspd: error: %v\nyardhaspd: hint: yardhaspd --help, or yardhaspd COMMAND --help\n", err)
		return exitUsage
	case errors.As(err, &stopped):
		fmt.Fprintf(stderr, "yardhaspd: error: %v\n", err)
		return exitStopped
	}
	fmt.Fprintf(stderr, "yardhaspd: error: %v\n", err)
	return exitFailed
}

type stoppedError struct{ error }

func command(o *options) *cobra.Command {
	root := &cobra.Command{
		Use:   "yardhaspd",
		Short: "a yard's replica of the ledger of isolations",
		Long: `yardhaspd runs a yard's replica of the co-op's ledger of isolations.

With no arguments it runs the replica of its data directory; where there is
none yet, it founds a ledger of one yard on this machine, and prints the next
command to type.

The steel lock is the protection. This program coordinates and remembers.`,
		Example: `  yardhaspd                                    run; the first time, found a one-yard ledger
  yardhaspd demo                               watch three yards do the whole job
  yardhaspd found --yard stonebend --coop "Three Forks Grain Co-op" --manager nia --address box.example:7443
  yardhaspd join TOKEN --address box.example:7443
  yardhaspd repair --data /srv/yardhasp        it does not start: look at its disk, mend what can be mended`,
		Args: cobra.NoArgs, SilenceUsage: true, SilenceErrors: true,
		RunE: func(c *cobra.Command, _ []string) error { return o.runOrFound(c.Context()) },
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return &usageError{err} })
	f := root.PersistentFlags()
	f.StringVar(&o.dir, "data", defaultDir(), "data directory (env YARDHASPD_DATA)")
	f.BoolVar(&o.verbose, "verbose", false, "log what consensus does")
	root.Flags().StringVar(&o.listen, "listen", "", "listen here instead of where replica.yaml says, host:port")
	root.Flags().StringVar(&o.admin, "admin", "", "serve /metrics, /healthz and /readyz by HTTP here, this machine's own addresses only, such as 127.0.0.1:9464")
	root.AddCommand(foundCommand(o), joinCommand(o), recoveryCommand(o), repairCommand(o), demoCommand(o), versionCommand(o))
	args := root.Args
	root.Args = func(c *cobra.Command, a []string) error {
		if err := args(c, a); err != nil {
			return &usageError{fmt.Errorf("unknown command %q", a[0])}
		}
		return nil
	}
	return root
}

// defaultDir is $YARDHASPD_DATA, or yardhaspd under the user's state directory.
func defaultDir() string {
	if d := os.Getenv("YARDHASPD_DATA"); d != "" {
		return d
	}
	if d := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, "yardhaspd")
	}
	if h, err := os.UserHomeDir(); err == nil {
		return filepath.Join(h, ".local", "state", "yardhaspd")
	}
	return "yardhaspd-data"
}

func (o *options) logger() *slog.Logger {
	level := slog.LevelWarn
	if o.verbose {
		level = slog.LevelDebug
	}
	return slog.New(slog.NewTextHandler(o.err, &slog.HandlerOptions{Level: level}))
}

// limitMemory keeps memory low on a small box, unless its owner set the limits
// (performance.md: memory limit 64M and GOGC 50).
func limitMemory() {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(64 << 20)
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
}

// run serves until a signal comes or the replica stops by itself.
func (o *options) run(ctx context.Context, ready func(*replica.Replica)) error {
	limitMemory()
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	r, err := replica.Open(replica.Config{Dir: o.dir, Listen: o.listen, Logger: o.logger()})
	if err != nil {
		return err
	}
	admin, err := serveAdmin(o.admin, r)
	if err != nil {
		return errors.Join(err, r.Close())
	}
	defer admin.Close()
	s := r.Settings()
	fmt.Fprintf(o.out, "yard %s is up on %s (ledger %s, data in %s)\n", s.Yard, r.Addr(), s.Ledger[:12], o.dir)
	if ready != nil {
		ready(r)
	}
	select {
	case <-ctx.Done():
		stop() // now a second signal ends the process at once
		fmt.Fprintln(o.err, "yardhaspd: stopping")
		return r.Close()
	case err := <-r.Halted():
		return &stoppedError{errors.Join(err, r.Close())}
	}
}

func versionCommand(o *options) *cobra.Command {
	return &cobra.Command{Use: "version", Short: "print the version", Args: cobra.NoArgs, RunE: func(*cobra.Command, []string) error {
		fmt.Fprintln(o.out, "yardhaspd "+Version())
		return nil
	}}
}

// Version is the module's version and revision as the build recorded them.
func Version() string {
	v := "(devel)"
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return v
	}
	if info.Main.Version != "" {
		v = info.Main.Version
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			v += " " + s.Value[:min(12, len(s.Value))]
		}
	}
	return v
}
