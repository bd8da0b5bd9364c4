// Package replica is one yard's node. It puts together the quorum (consensus and
// state), the yard's journal, the stores on disk, and the gRPC server, behind one
// TLS port.
//
// A data directory belongs to one replica and holds:
//
//	replica.yaml    which ledger and yard this is, and where it listens
//	replica.key     the replica's Ed25519 key, OpenSSH format
//	founding        the signed founding record: its hash is the ledger's id
//	peers.json      the yards' addresses and keys, used until the state is
//	                read back
//	raft/, raft.mark, snapshots/, history/, journal/
//	ballast         a file that is deleted when the disk is full
//	divergence-*.txt    two replicas' signed roots that contradict each other:
//	                nothing is approved or promised while such a file is there
//	begun           the log and the journal exist: they are never made again
//
// After a lost disk, a restored image or a copied directory, this is not the same
// replica any more. A yard whose disk was lost is recovered as a new incarnation.
//
// # Two histories
//
// Every ten election times a replica shows another one its signed root of the first
// n entries (PeerService.CompareRoot). It takes the others in turn. Ten election
// times are 5 s with the lan timers and 50 s with the rural ones.
//
// Two different roots of one size, each signed by a pinned key, are kept as
// divergence-<n>.txt and passed on to every yard. Each yard checks both signatures
// itself. From then on a replica only writes facts down. It gives no fence, no
// Energise, no go-ahead, no promise and no confirmed reading. The alarm shows on
// the board, in "status", and in the health service as "ledger.agree".
//
// Only people can end it, by hand: find out which history is right, join the other
// yard anew, stop every replica, move the file out of every data directory, start
// them. One file left behind brings the alarm back.
//
// # What may be mended
//
// Only the history is mended. Every yard has it, and the state holds its root.
// Repair moves a damaged history aside. It runs the recovery of a normal start on an
// empty history (quorum.Rebuild), reads all of it, and compares roots with the other
// yards. If the history is gone, the start itself fetches it.
//
// A log or a journal that lost anything is never mended, and never replaced by an
// earlier copy. Damage says so to people, at the start and in "repair", and names
// RecoverYard as the way on. Two managers and the new replica's key sign that record
// like any draft (ledger.CountersignersOf). The fresh disk is a new member under a
// new key (Replica.replaced).
//
// On a full disk the stores are not even closed: badger writes when it closes.
//
// # Traps of raft and gRPC
//
// A follower was away, and its heartbeats get through again. raft 1.8.0 still waits
// up to ten seconds before each next try to copy entries to it. So reach.go makes the
// copies wait for a heartbeat instead. gRPC has a waiting time of its own between
// tries. leaderConn ends it.
//
// When a follower refuses an entry in a pipeline, raft 1.8.0 may wait for ever in the
// next send (hashicorp/raft issue 612). So pipeline.go reads the answers.
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
	// Timers is the profile, "lan" or "rural". It is the same at every yard.
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

// writeFile replaces a file atomically: after a crash the path holds either content,
// whole.
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
