package cli

import (
	"context"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

const recoverLong = `For a yard whose disk or journal is lost, or whose journal two machines wrote.

First walk the yard. People look at EVERY point and EVERY box of it ("yardhasp board
--at YARD --all" lists what the ledger knows; look beyond it too) and into every zone,
and write down each lock that hangs, each handle that is closed and each person inside.
A lock missed on this walk is a lock that nobody counts. The ledger keeps what it had,
and what was found is entered beside it; every request that waits on the yard is void.

The old machine is switched off and its disk taken out, for good: cut off, it would go
on promising. --old-machine-off says that this was done; without it nothing is written.

The fresh machine is made ready with "yardhaspd prepare-recovery", which prints --key,
--address and --epoch. Two managers who know the walk sign, then the fresh machine:
  yardhasp countersign FILE                               the second manager
  yardhasp countersign FILE --new-key DATA/replica.key    at the fresh machine
  yardhasp send FILE                                      anybody enrolled` + draftLong

const recoverExample = `  yardhasp recover-yard stonebend --second ines-fox --old-machine-off \
    --key 3q2+7w...= --address stonebend.example:7443 \
    --lock "stonebend/mcc-1/leg-2 holder=ravi job=boot-7 seen=brass, tag 14" \
    --lock "stonebend/box-3 seen=red, no tag" \
    --none-closed --inside lena=boot-7 > recovery.txt`

// walkdown is what was seen, according to the flags.
type walkdown struct {
	locks, closed, inside       []string
	noLocks, noneClosed, nobody bool
	key                         string
}

func (a *App) recoverCmd() *cobra.Command {
	r := &recordv1.RecoverYard{}
	var w walkdown
	c := &cobra.Command{Use: "recover-yard YARD", Short: "Write that a yard begins anew on a fresh machine, after a walk, for two managers to sign",
		Args: args(1, 1), Long: recoverLong, Example: recoverExample}
	f := c.Flags()
	f.StringVar(&r.Second, "second", "", "the other manager, `person` id")
	f.StringVar(&w.key, "key", "", "the fresh machine's public key, 32 bytes in `base64`")
	f.StringVar(&r.Address, "address", "", "where the others reach the fresh machine, `host:port`")
	f.Uint64Var(&r.Epoch, "epoch", 0, "one more than the yard's epoch; left out, the quorum is asked")
	f.BoolVar(&r.OldMachineOff, "old-machine-off", false, "the old machine is switched off and its disk taken out")
	f.StringArrayVar(&w.locks, "lock", nil, "a lock seen hanging, `\"TARGET [holder=PERSON] [job=JOB] [seen=WORDS]\"`; words come last; again for more")
	f.BoolVar(&w.noLocks, "no-locks", false, "every point and box was looked at, and no lock hangs")
	f.StringSliceVar(&w.closed, "closed", nil, "`point` whose handle was seen closed; again for more")
	f.BoolVar(&w.noneClosed, "none-closed", false, "every handle was looked at, and none is closed")
	f.StringSliceVar(&w.inside, "inside", nil, "`PERSON[=JOB]` found inside a zone; again for more")
	f.BoolVar(&w.nobody, "nobody-inside", false, "every zone was looked into, and nobody is inside")
	c.RunE = func(c *cobra.Command, args []string) error {
		r.Yard = args[0]
		if err := need(c, "second", "key", "address"); err != nil {
			return err
		}
		if !r.OldMachineOff {
			return usage(c, "--old-machine-off is missing: switch the old machine off and take its disk out first; cut off, it would go on promising")
		}
		if err := w.read(c, r); err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			if err := a.recorded(ctx, c, cl, r); err != nil {
				return err
			}
			return a.draftBy(cl, &recordv1.Record{Act: &recordv1.Record_RecoverYard{RecoverYard: r}})
		})
	}
	return c
}

// read fills in what the flags say. A person must also say what was not found: otherwise
// a forgotten flag and a walk that nobody made look the same.
func (w *walkdown) read(c *cobra.Command, r *recordv1.RecoverYard) error {
	for _, part := range []struct {
		found      int
		none       bool
		some, flag string
	}{{len(w.locks), w.noLocks, "lock", "no-locks"}, {len(w.closed), w.noneClosed, "closed", "none-closed"}, {len(w.inside), w.nobody, "inside", "nobody-inside"}} {
		if (part.found > 0) == part.none {
			return usage(c, "give either --%s, for each that was found, or --%s, once everything was looked at", part.some, part.flag)
		}
	}
	raw, err := base64.StdEncoding.DecodeString(w.key)
	if err != nil || len(raw) != 32 {
		return usage(c, "--key is not the base64 of 32 bytes: copy it as yardhaspd prepare-recovery printed it")
	}
	r.Key, r.Closed = raw, w.closed
	for _, s := range w.locks {
		l, err := lockSeen(c, s)
		if err != nil {
			return err
		}
		r.Locks = append(r.Locks, l)
	}
	for _, s := range w.inside {
		person, job, _ := strings.Cut(s, "=")
		r.Inside = append(r.Inside, &recordv1.WalkedPerson{Person: person, Job: job})
	}
	return nil
}

// lockSeen reads "TARGET holder=PERSON job=JOB seen=WORDS".
func lockSeen(c *cobra.Command, s string) (*recordv1.WalkedLock, error) {
	l := &recordv1.WalkedLock{}
	on, rest, _ := strings.Cut(strings.TrimSpace(s), " ")
	switch strings.Count(on, "/") {
	case 1:
		l.Target = &recordv1.Target{On: &recordv1.Target_Box{Box: on}}
	case 2:
		l.Target = &recordv1.Target{On: &recordv1.Target_Point{Point: on}}
	default:
		return nil, usage(c, "--lock %q does not begin with a point, yard/panel/device, or a box, yard/box", s)
	}
	for rest = strings.TrimSpace(rest); rest != ""; rest = strings.TrimSpace(rest) {
		key, value, ok := strings.Cut(rest, "=")
		if ok && key == "seen" {
			l.Seen = strings.TrimSpace(value)
			return l, nil
		}
		value, rest, _ = strings.Cut(value, " ")
		switch {
		case ok && key == "holder" && value != "" && l.Holder == "":
			l.Holder = value
		case ok && key == "job" && value != "" && l.Job == "":
			l.Job = value
		default:
			return nil, usage(c, "--lock %q: after the point or box come holder=PERSON, job=JOB and, last, seen=WORDS", s)
		}
	}
	return l, nil
}

// recorded asks the quorum for the epoch if none is given. It says which of the yard's
// locks are in the ledger but were not found on the walk.
func (a *App) recorded(ctx context.Context, c *cobra.Command, cl *client.Client, r *recordv1.RecoverYard) error {
	b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_UNSPECIFIED, r.GetYard())
	if err != nil {
		if r.GetEpoch() > 0 {
			a.warnf("the ledger's own locks of %s are not compared with the walk: %v", r.GetYard(), err)
			return nil
		}
		return err
	}
	if r.GetEpoch() == 0 {
		i := slices.IndexFunc(b.GetAsOf().GetYards(), func(y *recordv1.YardContact) bool { return y.GetYard() == r.GetYard() })
		if i < 0 || !b.GetAsOf().GetConfirmed() {
			return &hinted{fmt.Errorf("the epoch of %s is not known for certain: no quorum confirmed it", r.GetYard()),
				[]string{"a recovery needs the quorum; or give --epoch, as yardhaspd prepare-recovery printed it"}}
		}
		r.Epoch = b.GetAsOf().GetYards()[i].GetEpoch() + 1
	}
	for _, h := range b.GetHolds() {
		if ledger.YardOf(h.GetTarget()) != r.GetYard() || slices.ContainsFunc(r.GetLocks(), func(l *recordv1.WalkedLock) bool {
			return l.GetTarget().GetPoint()+l.GetTarget().GetBox() == h.GetTarget() && (l.GetHolder() == h.GetHolder() || l.GetHolder() == "")
		}) {
			continue
		}
		a.warnf("the ledger has a lock of %s on %s (%s) that the walk did not find: look again; it counts on until it is released or removed", orDash(h.GetHolder()), h.GetTarget(), h.GetRef())
	}
	return nil
}

// recovery prints what two managers sign.
func (p *page) recovery(r *recordv1.RecoverYard) {
	p.line("  yard                  %s begins epoch %d on a fresh machine", r.GetYard(), r.GetEpoch())
	p.line("  fresh machine         %s at %s", seal.Fingerprint(r.GetKey()), r.GetAddress())
	p.line("  second manager        %s", r.GetSecond())
	off := "NOT SAID TO BE OFF"
	if r.GetOldMachineOff() {
		off = "switched off, its disk taken out"
	}
	p.line("  old machine           %s", off)
	for _, l := range r.GetLocks() {
		p.line("  lock seen on          %s, holder %s, job %s, seen: %s", l.GetTarget().GetPoint()+l.GetTarget().GetBox(), orDash(l.GetHolder()), orDash(l.GetJob()), orDash(l.GetSeen()))
	}
	for _, c := range r.GetClosed() {
		p.line("  seen closed           %s", c)
	}
	for _, w := range r.GetInside() {
		p.line("  found inside          %s, job %s", w.GetPerson(), orDash(w.GetJob()))
	}
	p.line("  found in all          %d locks, %d handles closed, %d people inside; a lock missed is a lock nobody counts", len(r.GetLocks()), len(r.GetClosed()), len(r.GetInside()))
}
