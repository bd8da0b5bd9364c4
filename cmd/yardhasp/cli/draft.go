package cli

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// draftLong says what happens to every draft.
const draftLong = "\n\nPrints a draft with your signature. Each person it names reads it and signs it with\n\"yardhasp countersign\"; then anybody of them sends it with \"yardhasp send\". Until\nthen nothing is recorded."

// drafted is what a draft command prints for programs.
type drafted struct {
	Draft   string   `json:"draft"`
	Missing []string `json:"missing"`
}

// draft makes a draft, prints it and says who signs next. A yard is asked only about the
// locks that the draft names. If no yard answers, the draft is made all the same.
func (a *App) draft(c *cobra.Command, rec *recordv1.Record) error {
	cl, err := a.client()
	if err != nil {
		return err
	}
	defer cl.Close()
	ctx, cancel := context.WithTimeout(c.Context(), a.timeout)
	defer cancel()
	if err := a.draftBy(cl, rec); err != nil {
		return err
	}
	a.lookUp(ctx, cl, rec)
	return nil
}

func (a *App) draftBy(cl *client.Client, rec *recordv1.Record) error {
	d, err := cl.NewDraft(rec)
	if err != nil {
		return err
	}
	text, err := d.Text()
	if err != nil {
		return err
	}
	if err := a.print(drafted{string(text), d.Missing()}, func(p *page) { p.buf.Write(text) }); err != nil {
		return err
	}
	sign := "signs"
	if len(d.Missing()) > 1 {
		sign = "each sign"
	}
	a.hintf("nothing is recorded yet: %s %s it with \"yardhasp countersign FILE\", then \"yardhasp send FILE\"", strings.Join(d.Missing(), " and "), sign)
	return nil
}

func readDraft(file string) (*client.Draft, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	return client.ReadDraft(text)
}

func (a *App) draftCmds() []*cobra.Command {
	return []*cobra.Command{a.removalCmd(), a.handOverCmd(), a.takeOverCmd(), a.claimCmd(), a.recoverCmd(), a.countersignCmd(), a.sendCmd()}
}

func (a *App) removalCmd() *cobra.Command {
	r := &recordv1.Removal{}
	draft := &cobra.Command{Use: "draft LOCK", Short: "Write the removal of an absent person's lock, for two managers to sign", Args: args(1, 1),
		Long:    "Two managers sign, neither of them the lock's holder, within four hours. They verify\nfirst that the person is at no yard, and do what they can to reach them. The person\nis told before working again, and says so with \"yardhasp removal acknowledge\"; until\nthen work may not start where they sign on. Whoever is signed on stays signed on." + draftLong,
		Example: "  yardhasp removal draft stonebend/1/204 --second ines-fox \\\n    --not-here \"gate log, both yards walked\" --tried \"called twice, asked at home\" > removal.txt"}
	f := draft.Flags()
	f.StringVar(&r.Second, "second", "", "the other manager, `person` id")
	f.StringVar(&r.NotHere, "not-here", "", "how it was verified that the person is at no yard, in words")
	f.StringVar(&r.TriedToReach, "tried", "", "what was done to reach them, in words")
	draft.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "second", "not-here", "tried"); err != nil {
			return err
		}
		if r.Hold, err = refArg(c, args[0]); err != nil {
			return err
		}
		return a.draft(c, &recordv1.Record{Act: &recordv1.Record_Removal{Removal: r}})
	}
	ack := a.onRef("acknowledge LOCK", "Say that you know that your lock was removed",
		"For the person whose lock it was, before working again.", "  yardhasp removal acknowledge stonebend/1/204",
		func(r *recordv1.JournalRef) *recordv1.Record {
			return &recordv1.Record{Act: &recordv1.Record_AcknowledgeRemoval{AcknowledgeRemoval: &recordv1.AcknowledgeRemoval{Hold: r}}}
		})
	return a.group("removal", "Removal of an absent person's lock by two managers", "", draft, ack)
}

func (a *App) handOverCmd() *cobra.Command {
	o := &recordv1.HandOver{}
	var pairs []string
	draft := &cobra.Command{Use: "draft", Short: "Write a hand-over of locks, for everybody concerned to sign", Args: args(0, 0),
		Long:    "Those coming on hang their locks first. Each pair names the lock that comes off and\nthe lock of another person on the same point or box that stays. All pairs are taken,\nor none. It needs the quorum: at a yard that is cut off the person coming on locks,\nthen the person going off releases." + draftLong,
		Example: "  yardhasp hand-over draft --pair stonebend/1/204=stonebend/1/311 --with ben-ito > over.txt"}
	draft.Flags().StringSliceVar(&pairs, "pair", nil, "`OFF=ON`: the lock that comes off and the one that stays; again for more")
	draft.Flags().StringSliceVar(&o.Others, "with", nil, "`person` ids of everybody else who holds one of these locks")
	draft.RunE = func(c *cobra.Command, _ []string) error {
		if err := need(c, "pair", "with"); err != nil {
			return err
		}
		for _, p := range pairs {
			off, on, ok := strings.Cut(p, "=")
			if !ok {
				return usage(c, "--pair %q is not two locks with \"=\" between them", p)
			}
			a, err := refArg(c, off)
			if err != nil {
				return err
			}
			b, err := refArg(c, on)
			if err != nil {
				return err
			}
			o.Pairs = append(o.Pairs, &recordv1.HandOver_Pair{Off: a, On: b})
		}
		return a.draft(c, &recordv1.Record{Act: &recordv1.Record_HandOver{HandOver: o}})
	}
	return a.group("hand-over", "Hand-over of locks at a change of shift", "", draft)
}

func (a *App) takeOverCmd() *cobra.Command {
	t := &recordv1.TakeOver{}
	draft := &cobra.Command{Use: "draft JOB", Short: "Write that you are responsible for a job from now on", Args: args(1, 1),
		Long:    "You have your own lock on every point of the plan first. The responsible employee\nuntil now signs with you; when they are not there, a supervisor or manager does." + draftLong,
		Example: "  yardhasp take-over draft boot-7 --from ann-dahl > over.txt"}
	draft.Flags().StringVar(&t.From, "from", "", "the responsible employee until now, or a supervisor or manager, `person` id")
	draft.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "from"); err != nil {
			return err
		}
		t.Job = args[0]
		return a.draft(c, &recordv1.Record{Act: &recordv1.Record_TakeOver{TakeOver: t}})
	}
	return a.group("take-over", "Change of a job's responsible employee", "", draft)
}

func (a *App) claimCmd() *cobra.Command {
	l := &recordv1.ClaimLock{}
	draft := &cobra.Command{Use: "draft LOCK", Short: "Write that a lock found hanging is yours, for a witness to sign", Args: args(1, 1),
		Long:    "The owner of a lock whose owner was not known names a supervisor or manager as\nwitness, who sees the lock and its owner. From then on it is the owner's like any\nother, and they can release it." + draftLong,
		Example: "  yardhasp claim draft stonebend/1/204 --witness mara-holt > claim.txt"}
	draft.Flags().StringVar(&l.Witness, "witness", "", "a supervisor or manager, `person` id")
	draft.RunE = func(c *cobra.Command, args []string) (err error) {
		if err := need(c, "witness"); err != nil {
			return err
		}
		if l.Hold, err = refArg(c, args[0]); err != nil {
			return err
		}
		return a.draft(c, &recordv1.Record{Act: &recordv1.Record_ClaimLock{ClaimLock: l}})
	}
	return a.group("claim", "Claim of a lock that was found hanging", "", draft)
}

// countersigned is what countersigning prints.
type countersigned struct {
	File    string   `json:"file"`
	Missing []string `json:"missing"`
}

func (a *App) countersignCmd() *cobra.Command {
	var newKey string
	var show bool
	c := &cobra.Command{Use: "countersign FILE", Short: "Read a draft and sign it", Args: args(1, 1),
		Long:    "Prints what the draft says, then adds your signature to the file. With --show it is\nprinted and not signed: read it first. Sign only what you know to be so.",
		Example: "  yardhasp countersign removal.txt --show\n  yardhasp countersign removal.txt\n  yardhasp countersign reissue.txt --new-key ben-ito.new.key"}
	c.Flags().BoolVar(&show, "show", false, "print what it says, and sign nothing")
	c.Flags().StringVar(&newKey, "new-key", "", "sign with the new key in this `file`, which the draft brings in")
	c.RunE = func(c *cobra.Command, args []string) error {
		d, err := readDraft(args[0])
		if err != nil {
			return err
		}
		if a.output == "table" {
			// First show what the draft says, then ask for the passphrase.
			if err := a.print(nil, func(p *page) { p.draft(d, a.keptLocks(d.Record().GetLedger())) }); err != nil {
				return err
			}
		}
		if !show {
			if err := a.countersign(d, newKey); err != nil {
				return err
			}
			text, err := d.Text()
			if err != nil {
				return err
			}
			if err := replaceFile(args[0], text); err != nil {
				return err
			}
		}
		return a.print(countersigned{args[0], d.Missing()}, func(p *page) { p.signatures(d.Missing(), !show) })
	}
	return c
}

func (a *App) countersign(d *client.Draft, newKey string) error {
	if newKey != "" {
		key, err := keys.Read(newKey, a.passphrase)
		if err != nil {
			return err
		}
		return d.CountersignNewKey(key)
	}
	cl, err := a.client()
	if err != nil {
		return err
	}
	defer cl.Close()
	return cl.Countersign(d)
}

// draft prints what several people sign, so that nobody signs unread.
func (p *page) draft(d *client.Draft, w *whose) {
	r := d.Record()
	p.line("%s, written by %s at %s", strings.ReplaceAll(ledger.KindOf(r), "_", " "), r.GetSigner(), p.a.when(r.GetCapturedUnixMs()))
	switch act := r.GetAct().(type) {
	case *recordv1.Record_Removal:
		p.line("  takes off the lock    %s", w.lock(act.Removal.GetHold()))
		p.line("  second manager        %s", act.Removal.GetSecond())
		p.line("  verified not here     %s", act.Removal.GetNotHere())
		p.line("  tried to reach        %s", act.Removal.GetTriedToReach())
	case *recordv1.Record_TakeOver:
		p.line("  %s is responsible for %s from now on", r.GetSigner(), act.TakeOver.GetJob())
		p.line("  %s signs as the one responsible until now, or in their place as supervisor or manager", act.TakeOver.GetFrom())
	case *recordv1.Record_HandOver:
		for _, pair := range act.HandOver.GetPairs() {
			p.line("  %s comes off, %s stays", w.lock(pair.GetOff()), w.lock(pair.GetOn()))
		}
	case *recordv1.Record_ClaimLock:
		p.line("  the lock %s belongs to %s; witness %s", w.lock(act.ClaimLock.GetHold()), r.GetSigner(), act.ClaimLock.GetWitness())
	case *recordv1.Record_ExchangeProcedures:
		p.exchange(act.ExchangeProcedures)
	case *recordv1.Record_ReissueKey:
		p.line("  new key of %s; every key they had is revoked", act.ReissueKey.GetPerson())
	case *recordv1.Record_RecoverYard:
		p.recovery(act.RecoverYard)
	default:
		if text, err := (protojson.MarshalOptions{UseProtoNames: true}).Marshal(r); err == nil {
			p.line("  %s", text)
		}
	}
	if len(draftedLocks(r)) > 0 {
		w.rests(p)
	}
}

// signatures says who must still sign a draft.
func (p *page) signatures(missing []string, signed bool) {
	switch {
	case !signed:
		p.line("not signed now; still to sign: %s", orDash(strings.Join(missing, ", ")))
	case len(missing) > 0:
		p.line("signed; still to sign: %s. Nothing is recorded yet", strings.Join(missing, ", "))
	default:
		p.line("signed by everybody. Nothing is recorded yet: \"yardhasp send\"")
	}
}

// replaceFile writes a whole file or changes nothing. Half a draft is no draft.
func replaceFile(path string, data []byte) error {
	temp, err := os.CreateTemp(filepath.Dir(path), ".draft-*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	_, err = temp.Write(data)
	if err == nil {
		err = temp.Sync()
	}
	if err = errors.Join(err, temp.Close()); err != nil {
		return err
	}
	return os.Rename(temp.Name(), path)
}

func (a *App) sendCmd() *cobra.Command {
	return &cobra.Command{Use: "send FILE", Short: "Have a draft recorded that everybody named has signed", Args: args(1, 1),
		Long:    "Anybody enrolled may send it. Sent again it is the same act and is taken once: after\nno answer, send the same file again.",
		Example: "  yardhasp send removal.txt",
		RunE: func(c *cobra.Command, args []string) error {
			d, err := readDraft(args[0])
			if err != nil {
				return err
			}
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				r, err := cl.Send(ctx, d)
				var unknown *client.UnknownOutcome
				if errors.As(err, &unknown) {
					return &hinted{err, []string{fmt.Sprintf("or send the same draft again: \"yardhasp send %s\"; it is taken once", args[0])}}
				}
				return a.settled(cl, ledger.KindOf(d.Record()), r, err)
			})
		}}
}

func publicOf(key ed25519.PrivateKey) ed25519.PublicKey { return key.Public().(ed25519.PublicKey) }
