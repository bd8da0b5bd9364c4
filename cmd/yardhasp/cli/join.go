package cli

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/client/token"
	"yardhasp/ledger/seal"
)

// joined is what joining prints.
type joined struct {
	Person  string `json:"person"`
	Coop    string `json:"coop"`
	Ledger  string `json:"ledger"`
	Key     string `json:"key_file"`
	Print   string `json:"fingerprint"`
	Profile string `json:"profile"`
}

func (a *App) joinCmd() *cobra.Command {
	var keyPath, device string
	var bare bool
	c := &cobra.Command{Use: "join TOKEN", Short: "Join a ledger with an invitation", Args: args(1, 1),
		Long:    "Makes your key, joins with it and writes your profile. The token may be \"-\": then\nit is read from the standard input. A key file that is there already is used.",
		Example: "  yardhasp join - < invitation.txt"}
	c.Flags().StringVar(&keyPath, "key", "", "key `file` (default: <your id>.key beside the profile)")
	c.Flags().StringVar(&device, "device", "", "`name` of this machine (default: its host name)")
	c.Flags().BoolVar(&bare, "no-passphrase", false, "leave a new key unprotected: anybody at this machine can sign as you")
	c.RunE = func(c *cobra.Command, args []string) error {
		text := args[0]
		if text == "-" {
			data, err := io.ReadAll(io.LimitReader(a.In, 1<<20))
			if err != nil {
				return err
			}
			text = string(data)
		}
		t, err := token.Decode(text)
		if err != nil {
			return err
		}
		return a.join(c, t, keyPath, device, bare)
	}
	return c
}

func (a *App) join(c *cobra.Command, t *token.Token, keyPath, device string, bare bool) error {
	if err := t.Live(a.Now()); err != nil {
		return err
	}
	if t.Kind != token.Person {
		return errors.New("this invitation is for a yard: give it to the yard's replica")
	}
	path, err := a.profileFile()
	if err != nil {
		return err
	}
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return &hinted{fmt.Errorf("a profile is at %s already", path), []string{"give another place with --profile"}}
	}
	if device == "" {
		device = a.deviceName()
	}
	if keyPath == "" {
		keyPath = defaultKeyPath(path, t.ID)
	}
	key, err := a.keyAt(keyPath, bare)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.Context(), a.timeout)
	defer cancel()
	p, err := client.JoinPerson(ctx, t, key, client.WithClock(a.Now))
	if err != nil {
		return &hinted{err, []string{"your key is in " + keyPath + ": keep it, and use it when you try again"}}
	}
	p.Device, p.Key = device, keyPath
	if rel, err := filepath.Rel(filepath.Dir(path), keyPath); err == nil && !strings.HasPrefix(rel, "..") {
		p.Key = rel
	}
	if err := p.Save(path); err != nil {
		return err
	}
	out := joined{t.ID, p.Coop, hex.EncodeToString(p.Ledger), keyPath, seal.Fingerprint(key.Public().(ed25519.PublicKey)), path}
	return a.print(out, func(s *page) {
		s.line("%s has joined %s", out.Person, out.Coop)
		s.line("profile  %s", out.Profile)
		s.line("key      %s %s", out.Key, out.Print)
	})
}

// keyAt reads an existing key, or makes a new one. The key is on disk before it is used:
// the ledger may know it even if no answer comes.
func (a *App) keyAt(path string, bare bool) (ed25519.PrivateKey, error) {
	if _, err := os.Stat(path); err == nil {
		return keys.Read(path, a.passphrase)
	}
	pass := ""
	if !bare {
		var err error
		if pass, err = a.newPassphrase(); err != nil {
			return nil, err
		}
	}
	key, err := keys.Generate(rand.Reader)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	return key, keys.Write(path, key, pass)
}

func (a *App) newPassphrase() (string, error) {
	if a.passphraseFile != "" {
		return a.passphrase()
	}
	first, err := a.askSecret("passphrase for your new key: ")
	if err != nil {
		return "", err
	}
	again, err := a.askSecret("the same again: ")
	if err != nil {
		return "", err
	}
	if first != again {
		return "", errors.New("the two passphrases differ: start again")
	}
	if first == "" {
		return "", errors.New("the passphrase is empty: give one, or --no-passphrase")
	}
	return first, nil
}

// deviceName makes a name from the host's name: lower-case letters, digits, hyphens.
func (a *App) deviceName() string {
	host, err := os.Hostname()
	if err != nil {
		return "machine"
	}
	name := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(host))
	name = strings.Trim(name, "-")
	if name == "" {
		return "machine"
	}
	return name[:min(len(name), 40)]
}
