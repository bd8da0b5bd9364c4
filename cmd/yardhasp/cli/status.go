package cli

import (
	"context"
	"encoding/hex"
	"fmt"

	"github.com/spf13/cobra"

	"yardhasp/client"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func (a *App) statusCmd() *cobra.Command {
	return &cobra.Command{Use: "status", Short: "Which yards are up, and how many more may fail", Args: args(0, 0),
		Example: "  yardhasp status\n  yardhasp status --yard millrow -o json",
		RunE: func(c *cobra.Command, _ []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				m, err := cl.Members(ctx, a.yard)
				if err != nil {
					return err
				}
				if err := a.print(m, func(p *page) { p.status(m) }); err != nil {
					return err
				}
				a.warnOutbox(cl)
				return nil
			})
		}}
}

func (p *page) status(m *servicev1.GetMembersResponse) {
	p.asOf(m.GetAsOf())
	for _, h := range m.GetHealth() {
		p.loud("NOT WELL:", "%s", h)
	}
	if !m.GetHasQuorum() {
		p.loud("NO QUORUM:", "%s can't reach enough yards: locks are written down here, nothing else is possible", m.GetYard())
	}
	p.line("")
	p.line("%s, seen from %s, ledger %s", m.GetCoop(), m.GetYard(), hex.EncodeToString(m.GetLedger()))
	p.line("voters %d, alive %d, quorum %d, %s", m.GetVoters(), m.GetAlive(), m.GetQuorum(), mayFail(m.GetMayFail()))
	if m.GetText() != "" {
		p.line("%s", m.GetText())
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

func mayFail(n uint32) string {
	switch n {
	case 0:
		return "NOT ONE more may fail"
	case 1:
		return "one more may fail"
	}
	return fmt.Sprintf("%d more may fail", n)
}
