package replica

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"slices"

	"yardhasp/client"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/replica/quorum"
	"yardhasp/replica/yard"
)

// Recovering is what a fresh machine needs to replace a yard's lost one.
type Recovering struct {
	Dir, Yard, Listen, Address, Timers string
	// Founding is the signed founding record. Yards lists the yards with keys and
	// addresses. Both come from a yard that runs.
	Founding, Ledger []byte
	Yards            []*recordv1.YardInfo
}

// PrepareRecovery makes a data directory with a new replica key, for a yard that lost
// its machine. The replica opened on it promises nothing until the ledger has a
// RecoverYard that names its key. PrepareRecovery refuses a directory that holds a
// replica. A lost disk comes back as a new member, never under the key it had
// (protocol.md C9).
func PrepareRecovery(p Recovering) (ed25519.PublicKey, error) {
	if _, ok := quorum.Profiles[p.Timers]; !ok {
		return nil, fmt.Errorf("timers %q: the profiles are lan and rural", p.Timers)
	}
	if _, err := client.CheckFounding(p.Founding, p.Ledger); err != nil {
		return nil, err
	}
	i := slices.IndexFunc(p.Yards, func(y *recordv1.YardInfo) bool { return y.GetId() == p.Yard })
	if i < 0 {
		return nil, fmt.Errorf("no yard %q is in the ledger: a new yard joins with an invitation", p.Yard)
	}
	key, err := newDir(p.Dir)
	if err != nil {
		return nil, err
	}
	public := key.Public().(ed25519.PublicKey)
	b, err := openDirectory(p.Dir)
	if err != nil {
		return nil, err
	}
	for _, y := range p.Yards {
		b.by[y.GetId()] = entry{y.GetName(), y.GetAddress(), y.GetReplicaKey()}
	}
	b.by[p.Yard] = entry{p.Yards[i].GetName(), p.Address, public}
	if err := b.save(); err != nil {
		return nil, err
	}
	if err := writeFile(filepath.Join(p.Dir, "founding"), p.Founding, 0o600); err != nil {
		return nil, err
	}
	s := &Settings{Ledger: hex.EncodeToString(p.Ledger), Yard: p.Yard, Name: p.Yards[i].GetName(), Listen: p.Listen, Address: p.Address, Timers: p.Timers}
	return public, s.write(p.Dir)
}

// beginEpoch begins the journal of the epoch that the ledger gave this replica's key.
// It does so only while the journal here is of an earlier epoch and empty. The caller
// holds d.mu.
func (d *driver) beginEpoch() error {
	var epoch, at uint64
	d.r.node.View(func(s *ledger.State, raftIndex uint64) {
		me := s.Yards[d.r.set.Yard]
		// If the ledger has records of that epoch, then its journal was lost, and an
		// empty one must not replace it.
		if me != nil && bytes.Equal(me.Key, d.r.Key()) && me.Drained == 0 {
			epoch, at = me.Epoch, raftIndex
		}
	})
	if epoch <= d.file.Header().Epoch || d.r.disk.mustNotWrite() != nil {
		return nil
	}
	run := make([]byte, 8)
	if _, err := rand.Read(run); err != nil {
		return err
	}
	if err := d.file.Renew(epoch, at); err != nil {
		return err
	}
	y, err := yard.New(d.file.Header(), d.r.key, nil, hex.EncodeToString(run))
	if err != nil {
		return err
	}
	d.y = y
	return nil
}

// replaced removes from the quorum the lost disks of yards that were recovered. Only
// then can the fresh disks be let in: raft knows a disk by its key, and each yard has
// one place.
func (r *Replica) replaced() {
	current := map[string]string{}
	r.node.View(func(s *ledger.State, _ uint64) {
		for id, y := range s.Yards {
			current[id] = seal.Fingerprint(y.Key)
		}
	})
	for _, s := range r.node.Members().Servers {
		id, known := current[s.Yard]
		if !known || id == s.ID {
			continue
		}
		if s.ID == seal.Fingerprint(r.Key()) {
			r.node.HandOver() // this very disk was given up: another replica must remove it
			return
		}
		if err := r.node.Remove(s.ID); err != nil {
			r.log.Info("a yard's lost disk still counts for the quorum", "yard", s.Yard, "err", err)
		}
	}
}
