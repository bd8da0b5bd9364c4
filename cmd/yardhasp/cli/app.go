package cli

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"yardhasp/client"
	"yardhasp/client/keys"
)

// App is one run of the command.
type App struct {
	In       io.Reader
	Out, Err io.Writer
	// Env reads the environment.
	Env func(string) string
	Now func() time.Time
	// TTY says that stdout is a terminal. ErrTTY says that stderr is one.
	TTY, ErrTTY bool
	// Width is the number of columns of the terminal. 0 means 80.
	Width int
	// State is the folder of the outbox, the last board and the tickets. If it is empty,
	// each ledger has its own folder under XDG_STATE_HOME. Dial, if set, makes the
	// connections.
	State string
	Dial  func(ctx context.Context, address string) (net.Conn, error)

	profilePath, yard, output, color, units, passphraseFile string
	timeout                                                 time.Duration
}

// Main runs the command with this process's arguments and exits with its code.
func Main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	a := &App{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Env: os.Getenv, Now: time.Now, TTY: term.IsTerminal(int(os.Stdout.Fd())), ErrTTY: term.IsTerminal(int(os.Stderr.Fd()))}
	if w, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil {
		a.Width = w
	}
	code := a.Run(ctx, os.Args[1:])
	if ctx.Err() != nil {
		code = exitInterrupted
	}
	stop()
	os.Exit(code)
}

// Run runs one command line and returns its exit code.
func (a *App) Run(ctx context.Context, args []string) int {
	root := a.root()
	root.SetArgs(args)
	root.SetIn(a.In)
	root.SetOut(a.Out)
	root.SetErr(a.Err)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitOK
	}
	if ctx.Err() != nil {
		return exitInterrupted // the user interrupted it and knows
	}
	a.fail(err)
	return exitCode(err)
}

func (a *App) root() *cobra.Command {
	root := a.group("yardhasp", "One ledger of isolation for a co-op's yards",
		"yardhasp records who has locked what, across all yards of a co-op, and what may\nstart again. Your own padlock is the protection: this is a record.")
	root.SilenceErrors, root.SilenceUsage = true, true
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return &usageError{err.Error(), c.CommandPath()} })
	f := root.PersistentFlags()
	f.StringVar(&a.profilePath, "profile", "", "profile `file` (default: profile.yaml in your config folder, yardhasp/)")
	f.StringVar(&a.yard, "yard", "", "`yard` to ask first instead of your own")
	f.DurationVar(&a.timeout, "timeout", 10*time.Second, "how long to wait for answers")
	f.StringVarP(&a.output, "output", "o", "table", "how to print: table, json or yaml")
	f.StringVar(&a.color, "color", "auto", "colour: auto, always or never")
	f.StringVar(&a.units, "units", "si", "si, or us for the customary units beside SI")
	f.StringVar(&a.passphraseFile, "passphrase-file", "", "`file` whose first line is the passphrase of your key")
	root.PersistentPreRunE = func(c *cobra.Command, _ []string) error { return a.globals(c) }
	root.SetHelpTemplate(helpTemplate)
	root.SetUsageTemplate(usageTemplate)
	root.AddCommand(a.statusCmd(), a.shiftCmd(), a.boardCmd(), a.jobCmd(), a.planCmd(), a.procedureCmd(), a.liveCmd(), a.panelCmd(), a.watchCmd(), a.historyCmd(), a.receiptCmd())
	root.AddCommand(a.lockCmds()...)
	root.AddCommand(a.panelActs()...)
	root.AddCommand(a.workActs()...)
	root.AddCommand(a.draftCmds()...)
	root.AddCommand(a.permitCmd(), a.fumigationCmd())
	root.AddCommand(a.requestCmd(), a.withdrawCmd(), a.standClearCmd(), a.inviteCmd(), a.joinCmd(), a.keyCmd(), a.personCmd(), a.padlockCmd(), a.pointCmd(), a.boxCmd(),
		a.exchangeCmd(), a.visitCmd(), a.drawingCmd(), a.exportCmd(), a.verifyCmd(), a.checkpointCmd(), a.outboxCmd(), a.versionCmd())
	root.AddCommand(topics()...)
	return root
}

// globals takes from the environment what the flags did not set, and checks it.
func (a *App) globals(c *cobra.Command) error {
	for _, name := range []string{"profile", "yard", "timeout", "output", "color", "units", "passphrase-file"} {
		f := c.Flag(name)
		v := a.Env("YARDHASP_" + strings.ToUpper(strings.ReplaceAll(name, "-", "_")))
		if f == nil || f.Changed || v == "" {
			continue
		}
		if err := f.Value.Set(v); err != nil {
			return usage(c, "environment: YARDHASP_%s: %v", strings.ToUpper(name), err)
		}
	}
	switch a.output {
	case "table", "json", "yaml":
	default:
		return usage(c, "--output %q is not table, json or yaml", a.output)
	}
	switch a.color {
	case "auto", "always", "never":
	default:
		return usage(c, "--color %q is not auto, always or never", a.color)
	}
	switch a.units {
	case "si", "us":
	default:
		return usage(c, "--units %q is not si or us", a.units)
	}
	if a.timeout <= 0 {
		return usage(c, "--timeout %s is not more than nothing", a.timeout)
	}
	return nil
}

func (a *App) profileFile() (string, error) {
	if a.profilePath != "" {
		return a.profilePath, nil
	}
	return client.DefaultProfilePath()
}

func (a *App) profile() (*client.Profile, error) {
	path, err := a.profileFile()
	if err != nil {
		return nil, err
	}
	p, err := client.LoadProfile(path)
	if err != nil {
		return nil, &hinted{err, []string{"join a ledger with \"yardhasp join TOKEN\", or name a profile with --profile"}}
	}
	if a.yard != "" {
		if _, ok := p.YardByID(a.yard); !ok {
			return nil, fmt.Errorf("--yard %q is not among the yards of %s", a.yard, path)
		}
		p.Yard = a.yard
	}
	return p, nil
}

// client makes the client of the profile. The caller must close it.
func (a *App) client() (*client.Client, error) {
	p, err := a.profile()
	if err != nil {
		return nil, err
	}
	key, err := keys.Read(p.KeyPath(), a.passphrase)
	if err != nil {
		return nil, err
	}
	state, err := a.stateDir(p)
	if err != nil {
		return nil, err
	}
	tickets, err := client.NewFileTickets(state, p.Device)
	if err != nil {
		return nil, err
	}
	options := []client.Option{client.WithState(state), client.WithClock(a.Now)}
	if a.Dial != nil {
		options = append(options, client.WithDialer(a.Dial))
	}
	return client.New(p, key, tickets, options...)
}

func (a *App) stateDir(p *client.Profile) (string, error) {
	if a.State != "" {
		return a.State, nil
	}
	return p.StateDir()
}

// with runs work with a client, for the time that the user allows.
func (a *App) with(c *cobra.Command, work func(ctx context.Context, cl *client.Client) error) error {
	cl, err := a.client()
	if err != nil {
		return err
	}
	defer cl.Close()
	ctx, cancel := context.WithTimeout(c.Context(), a.timeout)
	defer cancel()
	return work(ctx, cl)
}

// passphrase takes the key's passphrase from the file, or asks at the terminal.
func (a *App) passphrase() (string, error) {
	if a.passphraseFile != "" {
		data, err := os.ReadFile(a.passphraseFile)
		if err != nil {
			return "", err
		}
		line, _, _ := strings.Cut(string(data), "\n")
		return strings.TrimSuffix(line, "\r"), nil
	}
	return a.askSecret("passphrase of your key: ")
}

func (a *App) askSecret(prompt string) (string, error) {
	tty, err := os.OpenFile("/dev/tty", os.O_RDWR, 0)
	if err != nil {
		return "", fmt.Errorf("no terminal to ask at: use --passphrase-file")
	}
	defer tty.Close()
	fmt.Fprint(tty, prompt)
	b, err := term.ReadPassword(int(tty.Fd()))
	fmt.Fprintln(tty)
	return string(b), err
}

// group is a command that only holds other commands.
func (a *App) group(use, short, long string, subs ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Long: long, Args: func(c *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usage(c, "unknown command %q for %q%s", args[0], c.CommandPath(), meant(c, args[0]))
		}
		return nil
	}, RunE: func(c *cobra.Command, _ []string) error { return c.Help() }}
	c.AddCommand(subs...)
	return c
}

// args checks that there are between least and most arguments. The usage line names
// them.
func args(least, most int) cobra.PositionalArgs {
	return func(c *cobra.Command, got []string) error {
		switch {
		case len(got) < least:
			return usage(c, "too few arguments: it is %q", c.UseLine())
		case most >= 0 && len(got) > most:
			return usage(c, "too many arguments, from %q on: it is %q", got[most], c.UseLine())
		}
		return nil
	}
}

// need checks that each of these flags was given.
func need(c *cobra.Command, flags ...string) error {
	for _, f := range flags {
		if !c.Flags().Changed(f) {
			return usage(c, "--%s is missing", f)
		}
	}
	return nil
}

func defaultKeyPath(profile, person string) string {
	return filepath.Join(filepath.Dir(profile), person+".key")
}
