package daemon

import (
	"context"
	"crypto/ed25519"
	"encoding/base64"
	"fmt"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/keys"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

type preparing struct {
	yard, listen, address, timers, profile, passFile, from string
}

func recoveryCommand(o *options) *cobra.Command {
	var p preparing
	c := &cobra.Command{
		Use:   "prepare-recovery",
		Short: "make a fresh machine ready for a yard whose disk is lost",
		Long: `prepare-recovery makes a data directory with a new key, for a yard whose disk or
journal is lost. The yard's old machine must be off, its disk taken out.

It asks one of the other yards for the ledger's founding record and for who the
yards are. --profile is the profile of anybody enrolled: it pins the ledger and the
yards' keys, so that no other machine can answer for them. Nothing of it is kept here.

The machine promises nothing until two managers have walked the yard and signed what
they found, and the ledger has it: "yardhasp recover-yard --help".`,
		Example: `  yardhaspd prepare-recovery --data /srv/yardhasp --yard millrow --profile nia.yaml \
    --listen 0.0.0.0:7443 --address millrow.example:7443`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			for flag, v := range map[string]string{"yard": p.yard, "profile": p.profile} {
				if v == "" {
					return &usageError{fmt.Errorf("--%s is needed", flag)}
				}
			}
			if p.address == "" {
				p.address = p.listen
			}
			return o.prepare(c.Context(), p)
		},
	}
	f := c.Flags()
	f.StringVar(&p.yard, "yard", "", "id of the yard that lost its disk")
	f.StringVar(&p.listen, "listen", "127.0.0.1:7443", "where the replica listens, host:port")
	f.StringVar(&p.address, "address", "", "where the others reach it, host:port (default: as --listen)")
	f.StringVar(&p.timers, "timers", "lan", "timers, the same at every yard: lan or rural")
	f.StringVar(&p.profile, "profile", "", "profile of somebody enrolled, which pins the other yards")
	f.StringVar(&p.passFile, "passphrase-file", "", "file whose first line is the passphrase of the profile's key")
	f.StringVar(&p.from, "from", "", "id of the yard to ask first (default: the profile's own)")
	return c
}

// prepare asks the other yards, makes the directory, and says what comes next.
func (o *options) prepare(ctx context.Context, p preparing) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	cl, err := o.clientOf(p)
	if err != nil {
		return err
	}
	defer cl.Close()
	founding, err := cl.Founding(ctx)
	if err != nil {
		return fmt.Errorf("the founding record can't be read from the other yards: %w", err)
	}
	m, err := cl.Members(ctx, p.from)
	if err != nil {
		return fmt.Errorf("the other yards can't be asked who they are: %w", err)
	}
	if !m.GetHasQuorum() {
		return fmt.Errorf("%s can't reach a quorum: a yard is recovered only while enough of the others run; start those first", m.GetYard())
	}
	infos, epoch, err := yardsOf(m, p.yard)
	if err != nil {
		return err
	}
	key, err := replica.PrepareRecovery(replica.Recovering{Dir: o.dir, Yard: p.yard, Listen: p.listen, Address: p.address, Timers: p.timers,
		Founding: founding, Ledger: cl.Profile().Ledger, Yards: infos})
	if err != nil {
		return err
	}
	o.prepared(p, key, epoch+1)
	return nil
}

// clientOf makes a client with the key of an enrolled person. It submits nothing.
func (o *options) clientOf(p preparing) (*client.Client, error) {
	prof, err := client.LoadProfile(p.profile)
	if err != nil {
		return nil, err
	}
	if p.from != "" {
		if _, ok := prof.YardByID(p.from); !ok {
			return nil, &usageError{fmt.Errorf("--from %q is not among the yards of %s", p.from, p.profile)}
		}
		prof.Yard = p.from
	}
	key, err := keys.Read(prof.KeyPath(), func() (string, error) { return o.secret(p.passFile) })
	if err != nil {
		return nil, err
	}
	return client.New(prof, key, client.NewMemoryTickets("prepare"))
}

// yardsOf lists the yards of a GetMembers answer, and the epoch of one of them.
func yardsOf(m *servicev1.GetMembersResponse, yard string) (infos []*recordv1.YardInfo, epoch uint64, err error) {
	for _, v := range m.GetMembers() {
		if len(v.GetReplicaKey()) == ed25519.PublicKeySize {
			infos = append(infos, &recordv1.YardInfo{Id: v.GetYard(), Name: v.GetName(), Address: v.GetAddress(), ReplicaKey: v.GetReplicaKey()})
		}
		if v.GetYard() == yard && v.GetAlive() {
			return nil, 0, fmt.Errorf("%s answers the others: switch its machine off and take its disk out first, or stop and \"yardhaspd repair\" it", yard)
		}
	}
	for _, y := range m.GetAsOf().GetYards() {
		if y.GetYard() == yard {
			return infos, y.GetEpoch(), nil
		}
	}
	return nil, 0, fmt.Errorf("no yard %q is in the ledger: a new yard joins with an invitation", yard)
}

// secret reads the passphrase of a key from a file, or asks at the terminal.
func (o *options) secret(file string) (string, error) {
	if file != "" {
		return o.passphrase(file, false)
	}
	return o.ask("passphrase of the profile's key: ")
}

func (o *options) prepared(p preparing, key ed25519.PublicKey, epoch uint64) {
	fmt.Fprintf(o.out, `%[1]s is ready for the yard %[2]s; it promises nothing yet

  fingerprint  %[3]s
  key          %[4]s
  address      %[5]s
  epoch        %[6]d

next, two managers walk the whole yard: every point, every box, every zone. Then:
  yardhasp recover-yard %[2]s --second MANAGER --old-machine-off --key %[4]s --address %[5]s --epoch %[6]d \
    --lock "POINT holder=PERSON seen=WORDS" ... --closed POINT ... --inside PERSON=JOB ... > recovery.txt
  yardhasp countersign recovery.txt                    the second manager
  yardhasp countersign recovery.txt --new-key %[7]s    on this machine
  yardhasp send recovery.txt                           anybody enrolled
  yardhaspd --data %[1]s                               on this machine
everybody's profile then needs the yard's new key and address, written in by hand
`, o.dir, p.yard, seal.Fingerprint(key), base64.StdEncoding.EncodeToString(key), p.address, epoch, filepath.Join(o.dir, "replica.key"))
}
