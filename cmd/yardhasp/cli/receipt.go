package cli

import (
	"context"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// submit has a record recorded and prints its receipt.
func (a *App) submit(c *cobra.Command, rec *recordv1.Record) error {
	return a.with(c, func(ctx context.Context, cl *client.Client) error {
		r, err := cl.Submit(ctx, rec)
		return a.settled(cl, ledger.KindOf(rec), r, err)
	})
}

// settled prints what became of a record and turns it into an exit code.
func (a *App) settled(cl *client.Client, kind string, r *servicev1.Receipt, err error) error {
	var refused *client.Refused
	if err == nil && len(r.GetOutcome().GetConditions()) > 0 && !r.GetOutcome().GetAccepted() {
		err = &client.Refused{Outcome: r.GetOutcome()}
	}
	if errors.As(err, &refused) && a.output != "table" {
		// A program reads the refusal where it reads the receipt.
		whole := &servicev1.Receipt{Status: servicev1.Status_STATUS_REFUSED, Outcome: refused.Outcome}
		if perr := a.print(whole, nil); perr != nil {
			return perr
		}
	}
	if err != nil {
		return lockOff(kind, otherNumber(err))
	}
	if err := a.print(r, func(p *page) { p.receipt(kind, r) }); err != nil {
		return err
	}
	if r.GetStatus() == servicev1.Status_STATUS_NOT_SENT {
		return &hinted{errNotSent, []string{"send it with \"yardhasp outbox send\" as soon as a yard is reachable, and tell somebody now"}}
	}
	a.warnOutbox(cl)
	return nil
}

// lockOff adds a warning to the error when a release or a stand-clear was not taken.
// People may have taken their lock off before they recorded it, and are then
// unprotected.
func lockOff(kind string, err error) error {
	if kind != "release" && kind != "stand_clear" {
		return err
	}
	return &hinted{err, []string{"if your lock is off already, it protects you from nothing, recorded or not: stay out, or hang it again and record that"}}
}

// otherNumber says what else the number in a refused record may be. A lock given to
// sign-off is still on, even if "no such sign-on" sounds as if it were not.
func otherNumber(err error) error {
	var refused *client.Refused
	switch {
	case !errors.As(err, &refused):
		return err
	case refused.Has(ledger.UnknownSignOn):
		return &hinted{err, []string{"if it is the number of a lock, that lock is recorded as on still: it ends by \"yardhasp release LOCK\"; \"yardhasp shift\" lists what you hold"}}
	case refused.Has(ledger.UnknownHold):
		return &hinted{err, []string{"if it is the number of a sign-on, you count as inside still: it ends by \"yardhasp sign-off SIGN-ON\"; \"yardhasp shift\" lists what you hold"}}
	}
	return err
}

// warnOutbox reminds the user of records that nobody else has.
func (a *App) warnOutbox(cl *client.Client) {
	kept, err := cl.Outbox()
	switch {
	case err != nil:
		a.warnf("%v", err)
	case len(kept) > 0:
		a.warnf("%d earlier records are kept on this machine only; nobody else knows: \"yardhasp outbox send\"", len(kept))
	}
}

func (p *page) receipt(kind string, r *servicev1.Receipt) {
	status := strings.ToUpper(word("STATUS_", r.GetStatus().String()))
	promise := r.GetStatus() == servicev1.Status_STATUS_HELD_LOCALLY || r.GetStatus() == servicev1.Status_STATUS_CONFIRMED
	switch {
	case countsForNothing(kind, r):
		p.loud(status+", DOES NOT COUNT,", "read at %s from %s", p.a.when(r.GetReadUnixMs()), orDash(r.GetYard()))
	case r.GetStatus() == servicev1.Status_STATUS_CONFIRMED && (kind == "lock" || kind == "found_lock") && len(r.GetPromised()) == 0:
		// The lock is off, or its holder stood clear. So the first word must not
		// reassure.
		p.loud(status+", NO PROTECTION,", "read at %s from %s", p.a.when(r.GetReadUnixMs()), orDash(r.GetYard()))
	case r.GetStatus() == servicev1.Status_STATUS_CONFIRMED:
		p.line("%s, read at %s from %s", status, p.a.when(r.GetReadUnixMs()), orDash(r.GetYard()))
	case r.GetStatus() == servicev1.Status_STATUS_NOT_SENT:
		p.loud(status+",", "at %s", p.a.when(r.GetReadUnixMs()))
	default:
		p.loud(status+",", "read at %s from %s", p.a.when(r.GetReadUnixMs()), orDash(r.GetYard()))
	}
	if r.GetMeans() != nil {
		p.line("%s", p.a.words().Says(r.GetMeans()))
	}
	if r.GetRepeatedTicket() {
		p.line("This record was taken before; this is the recorded answer.")
	}
	if r.GetRef() != "" {
		p.line("record    %s", r.GetRef())
	}
	// No other status promises anything, even if the list is not empty.
	if promise && len(r.GetPromised()) > 0 {
		p.line("promised  %s", strings.Join(r.GetPromised(), ", "))
	}
	if promise && kind == "sign_on" && len(r.GetPromised()) == 0 {
		p.loud("PROMISED NOTHING:", "rely on your own lock, not on this sign-on")
	}
	p.next(kind, r)
	p.endsBy(kind, r)
	for _, f := range r.GetOutcome().GetFlags() {
		p.loud("FLAGGED:", "%s", p.a.words().WithClause(f))
	}
	for _, c := range p.a.words().Changes(r.GetOutcome()) {
		p.line("changed   %s", c)
	}
	if permissive[kind] {
		p.caution()
	}
}

// countsForNothing reports whether a record was kept and changed nothing. A lock always
// counts.
func countsForNothing(kind string, r *servicev1.Receipt) bool {
	o := r.GetOutcome()
	return r.GetStatus() == servicev1.Status_STATUS_CONFIRMED && kind != "lock" && kind != "found_lock" && len(o.GetDid()) == 0 && len(o.GetFlags()) > 0
}

// next says what a signer must not mistake a receipt for.
func (p *page) next(kind string, r *servicev1.Receipt) {
	clean := r.GetStatus() == servicev1.Status_STATUS_CONFIRMED && len(r.GetOutcome().GetFlags()) == 0
	switch {
	case kind == "sign_on" && !clean:
		p.loud("KEEP OUT:", "this record is no leave to be inside; \"yardhasp job show\" says what is missing")
	case kind == "sign_off" && r.GetStatus() != servicev1.Status_STATUS_CONFIRMED:
		p.line("Count yourself UNPROTECTED from now, though others may still see you as inside.")
	case kind == "release" && r.GetStatus() != servicev1.Status_STATUS_CONFIRMED:
		p.line("Count yourself UNPROTECTED from now, though others may still see your lock.")
	case code.Has(r.GetOutcome().GetFlags(), ledger.AirOutOfLimits, ledger.AirNotSeen):
		p.loud("EVERYBODY OUT:", "call out whoever is inside, now; \"yardhasp permit list\" shows who is recorded inside, and there may be others")
	case kind == "closed" && countsForNothing(kind, r):
		p.loud("IF THE HANDLE IS CLOSED:", "record it now with \"yardhasp found-closed\": until then no screen shows the point as live, and people may be inside")
	case kind == "issue_permit":
		p.loud("BEFORE ANYBODY GOES IN OR STRIKES AN ARC:", "ask \"yardhasp permit show\" then; it holds only while every condition holds")
	case kind == "request":
		p.loud("DO NOT CLOSE:", "only a go-ahead at the point's own panel is permission")
	case kind == "energise":
		p.loud("DO NOT CLOSE", "on this receipt: ask \"yardhasp panel\" now, and close only while it shows the go-ahead")
	}
}

// endsBy names the one command that ends what was recorded. A release ends a lock and
// never a sign-on. A sign-off ends a sign-on and never a lock.
func (p *page) endsBy(kind string, r *servicev1.Receipt) {
	switch {
	case kind == "stand_clear":
		p.line("ends by   yardhasp release, once the test is over; a sign-off takes no lock off")
	case r.GetRef() == "":
	case kind == "lock":
		p.line("ends by   yardhasp release %s, once it is off; a sign-off takes no lock off", r.GetRef())
	case kind == "sign_on":
		p.line("ends by   yardhasp sign-off %s, once you are out; it takes no lock off", r.GetRef())
	}
}

// permissive are the kinds whose receipt may show an approval or a go-ahead.
var permissive = map[string]bool{"request": true, "energise": true, "issue_permit": true}

func (a *App) receiptCmd() *cobra.Command {
	var device string
	var follow bool
	var every time.Duration
	c := &cobra.Command{Use: "receipt TICKET", Short: "What became of a record you sent", Args: args(1, 1),
		Long:    "Asks what became of a ticket: the number an \"outcome unknown\" named. Nothing is\nentered by asking, however often. With --follow it asks again and again, says when\nthe answer changes, and ends once the record is confirmed or refused.",
		Example: "  yardhasp receipt 41\n  yardhasp receipt 41 --follow\n  yardhasp receipt 41 --device tablet-3-0badcafe --yard millrow"}
	c.Flags().StringVar(&device, "device", "", "`device` of the ticket (default: this machine)")
	c.Flags().BoolVar(&follow, "follow", false, "go on asking until it is confirmed or refused")
	c.Flags().DurationVar(&every, "every", 5*time.Second, "with --follow: how long between two questions")
	c.RunE = func(c *cobra.Command, args []string) error {
		n, err := strconv.ParseUint(args[0], 10, 64)
		if err != nil || n == 0 {
			return usage(c, "%q is not a ticket number", args[0])
		}
		if every <= 0 {
			return usage(c, "--every %s is not more than nothing", every)
		}
		cl, err := a.client()
		if err != nil {
			return err
		}
		defer cl.Close()
		if device == "" {
			if device, err = a.device(cl); err != nil {
				return err
			}
		}
		ask := func() (*servicev1.Receipt, error) {
			ctx, cancel := context.WithTimeout(c.Context(), a.timeout)
			defer cancel()
			return cl.Receipt(ctx, device, n, a.yard)
		}
		if follow {
			return a.follow(c.Context(), cl, every, ask)
		}
		r, err := ask()
		return a.settled(cl, r.GetOutcome().GetKind(), r, err)
	}
	return c
}

// follow prints an answer whenever it says something new. If nobody can be asked, it
// says so once and asks again: a yard out of reach is the reason to follow.
func (a *App) follow(ctx context.Context, cl *client.Client, every time.Duration, ask func() (*servicev1.Receipt, error)) error {
	last := ""
	for {
		r, err := ask()
		var unreachable *client.Unreachable
		now := r.GetStatus().String() + a.words().Says(r.GetMeans())
		switch final := r.GetStatus() == servicev1.Status_STATUS_CONFIRMED || r.GetStatus() == servicev1.Status_STATUS_REFUSED; {
		case errors.As(err, &unreachable):
			if now = "unreachable"; now != last {
				a.warnf("no yard answers: what was printed last is no longer known to hold; asking again every %s", every)
			}
		case err != nil || final:
			return a.settled(cl, r.GetOutcome().GetKind(), r, err)
		case now != last:
			if err := a.settled(cl, r.GetOutcome().GetKind(), r, nil); err != nil {
				return err
			}
		}
		last = now
		t := time.NewTimer(every)
		select {
		case <-ctx.Done():
			t.Stop()
			return ctx.Err()
		case <-t.C:
		}
	}
}

// device is the device name in this machine's tickets.
func (a *App) device(cl *client.Client) (string, error) {
	state, err := a.stateDir(cl.Profile())
	if err != nil {
		return "", err
	}
	t, err := client.NewFileTickets(state, cl.Profile().Device)
	if err != nil {
		return "", err
	}
	if t.Device() == "" {
		return "", errors.New("nothing was signed on this machine yet: name the ticket's --device")
	}
	return t.Device(), nil
}

func (a *App) outboxCmd() *cobra.Command {
	list := &cobra.Command{Use: "list", Short: "What is kept on this machine only", Args: args(0, 0), RunE: func(c *cobra.Command, _ []string) error {
		cl, err := a.client()
		if err != nil {
			return err
		}
		defer cl.Close()
		kept, err := cl.Outbox()
		if err != nil {
			return err
		}
		return a.print(keptRows(kept), func(p *page) {
			p.line("%d records are kept on this machine only; nobody else knows of them", len(kept))
			var rows [][]string
			for _, k := range keptRows(kept) {
				rows = append(rows, []string{k.Kind, k.Ticket, k.Kept, orDash(k.Yard)})
			}
			p.table("records", []string{"KIND", "TICKET", "KEPT SINCE", "TRIED AT"}, rows)
		})
	}}
	send := &cobra.Command{Use: "send", Short: "Send what is kept, oldest first", Args: args(0, 0), RunE: func(c *cobra.Command, _ []string) error {
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			done := a.progress("sending what is kept")
			sent, err := cl.SendOutbox(ctx)
			done()
			var first error
			for _, s := range sent {
				if serr := a.settled(cl, s.Kind, s.Receipt, s.Err); serr != nil && first == nil {
					first = serr
				}
			}
			if len(sent) == 0 && err == nil {
				a.warnf("nothing is kept on this machine")
			}
			return errors.Join(err, first)
		})
	}}
	return a.group("outbox", "Records kept on this machine only", "", list, send)
}

type keptRow struct {
	Kind   string `json:"kind"`
	Ticket string `json:"ticket"`
	Kept   string `json:"kept_since"`
	Yard   string `json:"tried_at"`
}

func keptRows(kept []client.Kept) []keptRow {
	rows := []keptRow{}
	for _, k := range kept {
		t := k.Record.GetTicket()
		rows = append(rows, keptRow{k.Kind, t.GetDevice() + " " + strconv.FormatUint(t.GetCounter(), 10), k.Since.UTC().Format("2006-01-02T15:04:05Z"), k.Yard})
	}
	return rows
}
