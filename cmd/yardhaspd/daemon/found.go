package daemon

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica"
)

// Founding holds what the user gave to "yardhaspd found".
type Founding struct {
	Yard, Name, Coop, Manager, ManagerName, Listen, Address, Timers, Passphrase string
}

func foundCommand(o *options) *cobra.Command {
	var f Founding
	var passFile string
	var open bool
	c := &cobra.Command{
		Use:   "found",
		Short: "found a ledger with this yard alone in it, and its first manager",
		Example: `  yardhaspd found --yard stonebend --name Stonebend --coop "Three Forks Grain Co-op" \
    --manager nia-okoro --manager-name "Nia Okoro" --listen 0.0.0.0:7443 --address stonebend.example:7443`,
		Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			for flag, v := range map[string]string{"yard": f.Yard, "coop": f.Coop, "manager": f.Manager} {
				if v == "" {
					return &usageError{fmt.Errorf("--%s is needed", flag)}
				}
			}
			pass, err := o.passphrase(passFile, open)
			if err != nil {
				return err
			}
			f.Passphrase = pass
			if err := Found(o.dir, f); err != nil {
				return err
			}
			o.next(f)
			return nil
		},
	}
	c.Flags().StringVar(&f.Yard, "yard", "", "id of the yard: lower-case letters, digits, hyphens")
	c.Flags().StringVar(&f.Name, "name", "", "name of the yard (default: its id)")
	c.Flags().StringVar(&f.Coop, "coop", "", "name of the co-op")
	c.Flags().StringVar(&f.Manager, "manager", "", "id of the first manager")
	c.Flags().StringVar(&f.ManagerName, "manager-name", "", "name of the first manager (default: the id)")
	c.Flags().StringVar(&f.Listen, "listen", "127.0.0.1:7443", "where the replica listens, host:port")
	c.Flags().StringVar(&f.Address, "address", "", "where the others reach it, host:port (default: as --listen)")
	c.Flags().StringVar(&f.Timers, "timers", "lan", "timers, the same at every yard: lan or rural")
	c.Flags().StringVar(&passFile, "passphrase-file", "", "file whose first line protects the manager's key")
	c.Flags().BoolVar(&open, "no-passphrase", false, "leave the manager's key unprotected (for a try only)")
	return c
}

// Found makes the data directory, the manager's key and the manager's profile.
func Found(dir string, f Founding) error {
	if f.Name == "" {
		f.Name = f.Yard
	}
	if f.ManagerName == "" {
		f.ManagerName = f.Manager
	}
	if f.Address == "" {
		f.Address = f.Listen
	}
	if !ledger.Name(f.Manager) {
		return fmt.Errorf("manager %q: an id is lower-case letters, digits and hyphens", f.Manager)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	keyPath := filepath.Join(dir, "manager.key")
	key, err := keys.Read(keyPath, func() (string, error) { return f.Passphrase, nil })
	if errors.Is(err, fs.ErrNotExist) {
		if key, err = keys.Generate(rand.Reader); err == nil {
			err = keys.Write(keyPath, key, f.Passphrase)
		}
	}
	if err != nil {
		return err
	}
	now := time.Now()
	id, err := replica.Found(replica.Founding{Dir: dir, Coop: f.Coop, Yard: f.Yard, YardName: f.Name, Listen: f.Listen, Address: f.Address, Timers: f.Timers,
		Manager: &recordv1.Person{Id: f.Manager, Name: f.ManagerName, Employer: f.Coop, TrainedUntilUnixMs: now.AddDate(1, 0, 0).UnixMilli(),
			Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR, recordv1.Role_ROLE_AUTHORISED}},
		ManagerKey: key}, now)
	if err != nil {
		return err
	}
	device := make([]byte, 4)
	if _, err := rand.Read(device); err != nil {
		return err
	}
	pub, err := replica.PublicKey(dir)
	if err != nil {
		return err
	}
	p := &client.Profile{Ledger: id, Coop: f.Coop, Person: f.Manager, Key: "manager.key", Yard: f.Yard, Device: "d" + hex.EncodeToString(device),
		Yards: []client.Yard{{ID: f.Yard, Name: f.Name, Address: f.Address, Key: pub}}}
	return p.Save(filepath.Join(dir, "profile.yaml"))
}

// next prints the commands to type next.
func (o *options) next(f Founding) {
	p := filepath.Join(o.dir, "profile.yaml")
	fmt.Fprintf(o.out, `founded the ledger of %s with the yard %s; its first manager is %s

start it:         yardhaspd --data %s
then look:        yardhasp --profile %s status
                  yardhasp --profile %s board
another yard:     yardhasp --profile %s invite yard millrow --name Millrow
somebody to lock: yardhasp --profile %s invite person ravi --name "Ravi" --role authorised --trained-until 2027-06-30

keep %s safe: whoever has it and its passphrase signs as %s
`, f.Coop, f.Yard, f.Manager, o.dir, p, p, p, p, filepath.Join(o.dir, "manager.key"), f.Manager)
}

// runOrFound is what yardhaspd does without arguments.
func (o *options) runOrFound(ctx context.Context) error {
	_, err := replica.ReadSettings(o.dir)
	switch {
	case err == nil:
		return o.run(ctx, nil)
	case !errors.Is(err, fs.ErrNotExist):
		return err
	}
	f := Founding{Yard: "home", Name: "Home yard", Coop: "My co-op", Manager: "manager", Listen: "127.0.0.1:7443", Timers: "lan"}
	if o.listen != "" {
		f.Listen = o.listen
	}
	fmt.Fprintf(o.out, "%s holds no replica: founding a ledger of one yard, to try it out\n", o.dir)
	if err := Found(o.dir, f); err != nil {
		return err
	}
	fmt.Fprintf(o.err, "yardhaspd: warning: the manager's key has no passphrase; for a real yard use yardhaspd found\n")
	return o.run(ctx, func(*replica.Replica) {
		fmt.Fprintf(o.out, "next, in another terminal:\n  yardhasp --profile %s board\n", filepath.Join(o.dir, "profile.yaml"))
	})
}

// passphrase asks for a passphrase, or reads it from a file.
func (o *options) passphrase(file string, none bool) (string, error) {
	if none {
		return "", nil
	}
	if file != "" {
		raw, err := os.ReadFile(file)
		if err != nil {
			return "", err
		}
		line, _, _ := strings.Cut(string(raw), "\n")
		if line = strings.TrimSuffix(line, "\r"); line == "" {
			return "", fmt.Errorf("%s: its first line is empty", file)
		}
		return line, nil
	}
	a, err := o.ask("passphrase for the manager's key: ")
	if err != nil {
		return "", err
	}
	b, err := o.ask("again: ")
	if err != nil {
		return "", err
	}
	if a != b || a == "" {
		return "", errors.New("the two passphrases differ, or are empty: start again")
	}
	return a, nil
}

// ask reads a secret at the terminal.
func (o *options) ask(prompt string) (string, error) {
	fd := int(os.Stdin.Fd())
	if !term.IsTerminal(fd) {
		return "", &usageError{errors.New("nobody can be asked for a passphrase here: give --passphrase-file, or for a try --no-passphrase where there is one")}
	}
	fmt.Fprint(o.err, prompt)
	b, err := term.ReadPassword(fd)
	fmt.Fprintln(o.err)
	return string(b), err
}

func joinCommand(o *options) *cobra.Command {
	var j replica.Joining
	c := &cobra.Command{
		Use:     "join TOKEN",
		Short:   "join a ledger with a yard's invitation, then run",
		Example: `  yardhaspd join yardhasp-invitation-1:... --data /srv/yardhasp --listen 0.0.0.0:7443 --address millrow.example:7443`,
		Args: func(_ *cobra.Command, a []string) error {
			if len(a) != 1 {
				return &usageError{errors.New("give the invitation's token, nothing else")}
			}
			return nil
		},
		RunE: func(c *cobra.Command, a []string) error {
			j.Dir, j.Token = o.dir, a[0]
			if j.Address == "" {
				j.Address = j.Listen
			}
			s, err := replica.Join(c.Context(), j)
			if err != nil {
				return err
			}
			fmt.Fprintf(o.out, "%s joined; start it again later with: yardhaspd --data %s\n", s.Yard, o.dir)
			return o.run(c.Context(), nil)
		},
	}
	c.Flags().StringVar(&j.Listen, "listen", "127.0.0.1:7443", "where the replica listens, host:port")
	c.Flags().StringVar(&j.Address, "address", "", "where the others reach it, host:port (default: as --listen)")
	c.Flags().StringVar(&j.Timers, "timers", "lan", "timers, the same at every yard: lan or rural")
	return c
}
