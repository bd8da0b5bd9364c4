package cli

import (
	"bytes"
	"context"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) statusCmd() *cobra.Command {
	var update bool
	c := &cobra.Command{Use: "status", Short: "Which yards are up, and how many more may fail", Args: args(0, 0),
		Example: "  yardhasp status\n  yardhasp status --yard millrow -o json"}
	c.Flags().BoolVar(&update, "update-profile", false, "write yards that joined or moved into your profile")
	c.RunE = func(c *cobra.Command, _ []string) error {
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			m, err := cl.Members(ctx, a.yard)
			if err != nil {
				return err
			}
			if err := a.print(m, func(p *page) { p.status(m) }); err != nil {
				return err
			}
			a.warnOutbox(cl)
			return a.learn(m, update)
		})
	}
	return c
}

// learn reports yards that the profile does not know, or writes them into it. A yard
// whose key is pinned vouches for the others. What a reading says never replaces the key
// of a known yard.
func (a *App) learn(m *servicev1.GetMembersResponse, update bool) error {
	path, err := a.profileFile()
	if err != nil {
		return err
	}
	p, err := client.LoadProfile(path)
	if err != nil {
		return err
	}
	var learnt []string
	for _, v := range m.GetMembers() {
		i := slices.IndexFunc(p.Yards, func(y client.Yard) bool { return y.ID == v.GetYard() })
		switch {
		case len(v.GetReplicaKey()) == 0 || v.GetAddress() == "":
		case i < 0:
			if !update {
				a.warnf("yard %s is not in your profile: \"yardhasp status --update-profile\" adds it", v.GetYard())
			}
			learnt = append(learnt, v.GetYard()+" at "+v.GetAddress())
			p.Yards = append(p.Yards, client.Yard{ID: v.GetYard(), Name: v.GetName(), Address: v.GetAddress(), Key: v.GetReplicaKey()})
		case !bytes.Equal(p.Yards[i].Key, v.GetReplicaKey()):
			a.warnf("yard %s has another key than your profile pins: ask its people for the fingerprint, then correct the profile by hand", v.GetYard())
		case p.Yards[i].Address != v.GetAddress():
			if !update {
				a.warnf("yard %s moved to %s: \"yardhasp status --update-profile\" notes it", v.GetYard(), v.GetAddress())
			}
			learnt = append(learnt, v.GetYard()+" at "+v.GetAddress())
			p.Yards[i].Address = v.GetAddress()
		}
	}
	switch {
	case !update:
		return nil
	case len(learnt) == 0:
		a.hintf("%s has these yards already: nothing was written", path)
		return nil
	}
	if err := p.Save(path); err != nil {
		return err
	}
	a.hintf("written into %s: %s", path, strings.Join(learnt, ", "))
	return nil
}

func (p *page) status(m *servicev1.GetMembersResponse) {
	p.asOf(m.GetAsOf())
	for _, f := range m.GetWrong() {
		p.loud("NOT WELL:", "%s", p.a.alarm(f))
	}
	if !m.GetHasQuorum() {
		p.loud("NO QUORUM:", "%s can't reach enough yards: locks are written down here, nothing else is possible", m.GetYard())
	}
	p.line("")
	p.line("%s, seen from %s, ledger %s", m.GetCoop(), m.GetYard(), hex.EncodeToString(m.GetLedger()))
	p.line("voters %d, alive %d, quorum %d, %s", m.GetVoters(), m.GetAlive(), m.GetQuorum(), mayFail(m))
	if m.GetMeans() != nil {
		p.line("%s", p.a.words().Says(m.GetMeans()))
	}
	var rows [][]string
	for _, y := range m.GetMembers() {
		state := "NOT HEARD"
		if y.GetAlive() {
			state = "alive"
		}
		part := "follows"
		switch {
		case y.GetLeader():
			part = "leads"
		case y.GetVoter():
			part = "votes"
		}
		rows = append(rows, []string{y.GetYard(), y.GetName(), y.GetAddress(), part, state, p.a.when(y.GetLastHeardUnixMs()), y.GetFingerprint()})
	}
	p.table("yards", []string{"YARD", "NAME", "ADDRESS", "PART", "STATE", "LAST HEARD", "KEY"}, rows)
}

func mayFail(m *servicev1.GetMembersResponse) string {
	if !m.GetHasQuorum() {
		return "TOO FEW ARE ALIVE"
	}
	switch n := m.GetMayFail(); n {
	case 0:
		return "NOT ONE more may fail"
	case 1:
		return "one more may fail"
	default:
		return fmt.Sprintf("%d more may fail", n)
	}
}
