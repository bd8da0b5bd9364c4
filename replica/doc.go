// Package replica is one yard's node: it assembles the quorum (consensus and
// state), the yard's journal, the stores on disk, and the gRPC server, behind one
// TLS port.
//
// A data directory belongs to one replica and holds:
//
//	replica.yaml    which ledger and yard this is, and where it listens
//	replica.key     the replica's Ed25519 key, OpenSSH format
//	founding        the signed founding record: its hash is the ledger's id
//	peers.json      the yards' addresses and keys, for the time before the
//	                state is read back
//	raft/, raft.mark, snapshots/, history/, journal/
//	ballast         room that is given up when the disk is full
//	divergence-*.txt    two replicas' signed roots that contradict each other:
//	                nothing is approved or promised while such a file is there
//	begun           the log and the journal were made: they never are again
//
// Lost disks, restored images and copied directories are not this replica any
// more: a yard whose disk was lost is recovered as a new incarnation.
//
// # Two histories
//
// Every ten election times a replica shows one other, each in its turn, its signed
// root of the first n entries (PeerService.CompareRoot). That is 5 s with the lan
// timers and 50 s with the rural ones.
//
// Two different roots of one size, each signed by a pinned key, are kept as
// divergence-<n>.txt and passed on to every yard. Each yard checks both signatures
// itself. From then on a replica only writes facts down. It gives no fence, no
// Energise, no go-ahead, no promise and no confirmed reading. The alarm stands on
// the board, in "status", and in the health service as "ledger.agree".
//
// It ends by hand only: find out which history is right, join the other yard anew,
// stop every replica, move the file out of every data directory, start them. One
// file left behind brings the alarm back.
//
// # What may be mended
//
// Only the history is mended. Every yard has it, and the state holds its root.
// Repair sets a damaged history aside, runs the start's own recovery on an empty
// one (quorum.Rebuild), reads all of it, and compares roots with the other yards.
// A history that is gone is fetched by the start itself.
//
// A log or a journal that lost anything is never mended, nor replaced by an older
// copy. Damage says so in the words that people see, at the start and in "repair",
// and leads to RecoverYard. Two managers and the new replica's key sign that record
// like any draft (ledger.CountersignersOf). The fresh disk is a new member under a new key
// (Replica.replaced).
//
// On a full disk the stores are not even closed: badger writes when it closes.
//
// # Traps of raft and gRPC
//
// raft 1.8.0 rests up to ten seconds between two copies to a follower that was
// away, although its heartbeats get through again. reach.go makes copies wait for a
// heartbeat instead. gRPC has a back-off of its own, which leaderConn ends.
//
// raft 1.8.0 waits for ever in a pipelined send whose follower refused the one
// before (hashicorp/raft issue 612). pipeline.go reads the answers.
package replica

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/goccy/go-yaml"

	"yardhasp/ledger"
	"yardhasp/replica/quorum"
)

// Settings is replica.yaml.
type Settings struct {
	Ledger  string `yaml:"ledger"`
	Yard    string `yaml:"yard"`
	Name    string `yaml:"name"`
	Listen  string `yaml:"listen"`
	Address string `yaml:"address"`
	// Timers is the profile, "lan" or "rural"; the same at every yard.
	Timers string `yaml:"timers"`
	// Founder is true at the yard that founded the ledger.
	Founder bool `yaml:"founder,omitempty"`
}

const settingsFile = "replica.yaml"

// ReadSettings reads replica.yaml of a data directory.
func ReadSettings(dir string) (*Settings, error) {
	path := filepath.Join(dir, settingsFile)
	raw, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("%s holds no replica: found a ledger there or join one first: %w", dir, err)
	}
	if err != nil {
		return nil, err
	}
	var s Settings
	if err := yaml.UnmarshalWithOptions(raw, &s, yaml.Strict()); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if !ledger.Name(s.Yard) || len(s.Ledger) != 64 || s.Listen == "" {
		return nil, fmt.Errorf("%s: yard, ledger and listen are all needed", path)
	}
	if _, ok := quorum.Profiles[s.Timers]; !ok {
		return nil, fmt.Errorf("%s: timers %q: the profiles are lan and rural", path, s.Timers)
	}
	return &s, nil
}

// write stores the settings durably.
func (s *Settings) write(dir string) error {
	raw, err := yaml.Marshal(s)
	if err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, settingsFile), raw, 0o600)
}

// writeFile replaces a file so that after a crash it is the old or the new one.
func writeFile(path string, data []byte, mode os.FileMode) error {
	tmp, err := os.OpenFile(path+".new", os.O_CREATE|os.O_TRUNC|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	_, err = tmp.Write(data)
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return err
	}
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
