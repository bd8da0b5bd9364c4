package cli

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) keyCmd() *cobra.Command {
	return a.group("key", "Your own key: make one, replace the one you have", "", a.keyNew(), a.keyReplace())
}

// madeKey is what making a key prints.
type madeKey struct {
	File   string `json:"file"`
	Public string `json:"public_key"`
	Print  string `json:"fingerprint"`
}

func (a *App) keyNew() *cobra.Command {
	var bare bool
	c := &cobra.Command{Use: "new FILE", Short: "Make a key in a new file, and print its public half", Args: args(1, 1),
		Long:    "For somebody who lost their key: a manager drafts \"yardhasp person reissue-key\" with\nthe public half, and you sign that with \"yardhasp countersign FILE --new-key KEY\".\nThe ledger knows nothing of the key until then.",
		Example: "  yardhasp key new ben-ito.new.key"}
	c.Flags().BoolVar(&bare, "no-passphrase", false, "leave it unprotected: anybody at this machine can sign as you")
	c.RunE = func(_ *cobra.Command, args []string) error {
		if _, err := os.Stat(args[0]); !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("a file is at %s already: name another", args[0])
		}
		key, err := a.keyAt(args[0], bare)
		if err != nil {
			return err
		}
		out := madeKey{args[0], base64.StdEncoding.EncodeToString(publicOf(key)), seal.Fingerprint(publicOf(key))}
		return a.print(out, func(p *page) {
			p.line("key         %s %s", out.File, out.Print)
			p.line("public key  %s", out.Public)
		})
	}
	return c
}

func (a *App) keyReplace() *cobra.Command {
	var bare bool
	c := &cobra.Command{Use: "replace FILE", Short: "Put a new key in the place of your own", Args: args(1, 1),
		Long:    "Your old key and the new one sign. The old one is revoked; the new one may release\nwhat the old one locked. A key file that is there already is used. Your profile\nthen names the new key. Keep the old file until you have seen the new one work:\nafter no answer the ledger may know either.",
		Example: "  yardhasp key replace ann-dahl.2027.key"}
	c.Flags().BoolVar(&bare, "no-passphrase", false, "leave a new key unprotected: anybody at this machine can sign as you")
	c.RunE = func(c *cobra.Command, args []string) error {
		path, err := a.profileFile()
		if err != nil {
			return err
		}
		// The flag --yard changes the profile for this run only. So read the profile
		// again before saving it.
		// read anew.
		prof, err := client.LoadProfile(path)
		if err != nil {
			return err
		}
		key, err := a.keyAt(args[0], bare)
		if err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			r, err := cl.ReplaceKey(ctx, key)
			if err := a.settled(cl, "replace_key", r, err); err != nil {
				return &hinted{err, []string{"both keys are on this machine: keep both. Try \"yardhasp status\" with each, by the line \"key:\" of " + path}}
			}
			full, err := filepath.Abs(args[0])
			if err != nil {
				return err
			}
			prof.Key = full
			if home, err := filepath.Abs(filepath.Dir(path)); err == nil {
				if rel, err := filepath.Rel(home, full); err == nil && !strings.HasPrefix(rel, "..") {
					prof.Key = rel
				}
			}
			if err := prof.Save(path); err != nil {
				return &hinted{err, []string{"the new key counts: write \"key: " + prof.Key + "\" into " + path}}
			}
			a.hintf("%s names the new key now", path)
			return nil
		})
	}
	return c
}

func (a *App) personReissue() *cobra.Command {
	r := &recordv1.ReissueKey{}
	var key string
	c := &cobra.Command{Use: "reissue-key PERSON", Short: "Write that a person who lost their key has a new one", Args: args(1, 1),
		Long:    "For a manager who has the person in front of them. The person makes the key with\n\"yardhasp key new\" and signs the draft with\n\"yardhasp countersign FILE --new-key KEY\". Every key they had is revoked. The new one\nends no lock and no sign-on from before it: a lock that is still on is removed by two\nmanagers." + draftLong,
		Example: "  yardhasp person reissue-key ben-ito --key 3q2+7w...= > reissue.txt"}
	c.Flags().StringVar(&key, "key", "", "the new public key, 32 bytes in `base64`")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "key"); err != nil {
			return err
		}
		raw, err := base64.StdEncoding.DecodeString(key)
		if err != nil || len(raw) != 32 {
			return usage(c, "--key is not the base64 of 32 bytes")
		}
		r.Person, r.Key = args[0], raw
		return a.draft(c, &recordv1.Record{Act: &recordv1.Record_ReissueKey{ReissueKey: r}})
	}
	return c
}

func (a *App) foundStartedCmd() *cobra.Command {
	s := &recordv1.FoundStarted{}
	c := &cobra.Command{Use: "found-started", Short: "Record something started without the ledger", Args: args(0, 0),
		Long:    "Anybody may record this, at any yard. It is raised at every yard and is never shown\nas approved. The points you name are live from then on at the yard that takes the\nrecord, if they are its own; those of other yards are named in the alarm, and work\nbehind them may not start. It stands until a qualified person has corrected the cause\nwith \"yardhasp correct\".",
		Example: "  yardhasp found-started --what \"leg 2 ran with nobody at the panel\" --point stonebend/mcc-1/leg-2"}
	c.Flags().StringVar(&s.What, "what", "", "what was started, in words")
	c.Flags().StringSliceVar(&s.Points, "point", nil, "`point` that must be closed for it, as yard/panel/device, as far as known; again for more")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if err := need(c, "what"); err != nil {
			return err
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_FoundStarted{FoundStarted: s}})
	}
	return c
}
