package cli

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/token"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) inviteCmd() *cobra.Command {
	return a.group("invite", "Invite a person or a yard", "", a.invitePerson(), a.inviteYard())
}

func (a *App) invitePerson() *cobra.Command {
	p := &recordv1.Person{}
	var roles []string
	var trained string
	var expires time.Duration
	c := &cobra.Command{Use: "person ID", Short: "Invite a person", Args: args(1, 1),
		Long:    "Prints a token. Whoever holds it can join as this person, once: hand it over in\nperson or by a way you trust.",
		Example: "  yardhasp invite person ben-ito --name \"Ben Ito\" --role authorised --trained-until 2027-01-31"}
	f := c.Flags()
	f.StringVar(&p.Name, "name", "", "the person's name")
	f.StringVar(&p.Employer, "employer", "", "outside employer, for a contractor")
	f.StringSliceVar(&roles, "role", nil, "`role`: authorised, affected, supervisor, manager, contractor")
	f.BoolVar(&p.Qualified, "qualified", false, "may test electrical parts")
	f.StringVar(&trained, "trained-until", "", "`day` until which the training is current, as 2027-01-31")
	f.DurationVar(&expires, "expires", 72*time.Hour, "how long the invitation stands")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "name", "role"); err != nil {
			return err
		}
		if p.Roles, err = rolesArg(c, roles); err != nil {
			return err
		}
		if trained != "" {
			if p.TrainedUntilUnixMs, err = dateArg(c, "trained-until", trained); err != nil {
				return err
			}
		}
		p.Id = args[0]
		if slices.ContainsFunc(p.Roles, needsTraining) && p.TrainedUntilUnixMs <= a.Now().UnixMilli() {
			a.warnf("%s has no current training by this: what they do is flagged, and work stops where they are signed on, until \"yardhasp person training\" records it", p.Id)
		}
		return a.invite(c, token.Person, p.Id, &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: p}}, expires)
	}
	return c
}

// needsTraining reports whether a role hangs locks (29 CFR 1910.147(c)(7)(i)).
func needsTraining(r recordv1.Role) bool {
	return r == recordv1.Role_ROLE_AUTHORISED || r == recordv1.Role_ROLE_CONTRACTOR
}

func (a *App) inviteYard() *cobra.Command {
	y := &recordv1.YardInfo{}
	var expires time.Duration
	c := &cobra.Command{Use: "yard ID", Short: "Invite a yard's replica", Args: args(1, 1),
		Example: "  yardhasp invite yard stonebend --name \"Stonebend elevator\""}
	c.Flags().StringVar(&y.Name, "name", "", "the yard's name")
	c.Flags().DurationVar(&expires, "expires", 72*time.Hour, "how long the invitation stands")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "name"); err != nil {
			return err
		}
		y.Id = args[0]
		return a.invite(c, token.Yard, y.Id, &recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: y}}, expires)
	}
	return c
}

// invitation is what an invitation prints.
type invitation struct {
	Token      string `json:"token"`
	Kind       string `json:"kind"`
	ID         string `json:"id"`
	Invitation string `json:"invitation"`
	Expires    string `json:"expires"`
}

func (a *App) invite(c *cobra.Command, kind, id string, inv *recordv1.Invite, expires time.Duration) error {
	if expires <= 0 {
		return usage(c, "--expires %s is not more than nothing", expires)
	}
	secret := make([]byte, ed25519.SeedSize)
	name := make([]byte, 5)
	rand.Read(secret) // crypto/rand.Read never fails since Go 1.24
	rand.Read(name)
	end := a.Now().Add(expires)
	inv.Id = "inv-" + hex.EncodeToString(name)
	inv.OnceKey = ed25519.NewKeyFromSeed(secret).Public().(ed25519.PublicKey)
	inv.ExpiresUnixMs = end.UnixMilli()
	return a.with(c, func(ctx context.Context, cl *client.Client) error {
		p := cl.Profile()
		t := &token.Token{Ledger: p.Ledger, Coop: p.Coop, Kind: kind, ID: id, Invitation: inv.Id, Seed: secret, ExpiresUnixMs: inv.ExpiresUnixMs}
		first, _ := p.YardByID(p.Yard)
		t.Yards = append(t.Yards, token.Peer{ID: first.ID, Address: first.Address, Key: first.Key})
		for _, y := range p.Yards {
			if y.ID != first.ID {
				t.Yards = append(t.Yards, token.Peer{ID: y.ID, Address: y.Address, Key: y.Key})
			}
		}
		text, err := token.Encode(t)
		if err != nil {
			return err
		}
		r, err := cl.Submit(ctx, &recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}})
		if err != nil || r.GetStatus() != servicev1.Status_STATUS_CONFIRMED {
			return a.settled(cl, "invite", r, err)
		}
		out := invitation{text, kind, id, inv.Id, end.UTC().Format(time.RFC3339)}
		if err := a.print(out, func(p *page) { p.line("%s", text) }); err != nil {
			return err
		}
		a.hintf("whoever holds this line can join as %s, once, until %s: hand it over by a way you trust", id, out.Expires)
		return nil
	})
}
