package replica

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"google.golang.org/protobuf/proto"

	"yardhasp/client/keys"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Founding is what it takes to found a ledger.
type Founding struct {
	Dir, Coop, Yard, YardName, Listen, Address, Timers string
	Manager                                            *recordv1.Person
	ManagerKey                                         ed25519.PrivateKey
}

// Found makes a data directory for a new ledger in which this yard is alone. It
// returns the ledger's id. It refuses a directory that holds a replica.
func Found(f Founding, now time.Time) (ledgerID []byte, err error) {
	if !ledger.Name(f.Yard) {
		return nil, fmt.Errorf("yard %q: a name is lower-case letters, digits and hyphens", f.Yard)
	}
	key, err := newDir(f.Dir)
	if err != nil {
		return nil, err
	}
	nonce := make([]byte, 32)
	if _, err := rand.Read(nonce); err != nil {
		return nil, err
	}
	body, err := proto.MarshalOptions{Deterministic: true}.Marshal(&recordv1.Founding{
		Coop:    f.Coop,
		Yard:    &recordv1.YardInfo{Id: f.Yard, Name: f.YardName, Address: f.Address, ReplicaKey: key.Public().(ed25519.PublicKey)},
		Manager: f.Manager, ManagerKey: f.ManagerKey.Public().(ed25519.PublicKey), Nonce: nonce, CreatedUnixMs: now.UnixMilli(),
	})
	if err != nil {
		return nil, err
	}
	signed := &recordv1.Signed{Body: body}
	for _, k := range []ed25519.PrivateKey{f.ManagerKey, key} {
		signed.Signatures = append(signed.Signatures, &recordv1.Signature{Key: k.Public().(ed25519.PublicKey), Signature: seal.Sign(k, seal.FoundingDomain, body)})
	}
	raw, err := proto.Marshal(signed)
	if err != nil {
		return nil, err
	}
	// Try the record on an empty state, so that a mistake shows here and not in the
	// log.
	e, err := ledger.Decode(ledger.FoundingEntry(raw))
	if err != nil {
		return nil, err
	}
	if o := ledger.New().Apply(e); !o.GetAccepted() {
		return nil, fmt.Errorf("the ledger can't be founded: %s", code.Brief(o.GetConditions()[0]))
	}
	id := sha256.Sum256(body)
	if err := writeFile(filepath.Join(f.Dir, "founding"), raw, 0o600); err != nil {
		return nil, err
	}
	s := &Settings{Ledger: hex.EncodeToString(id[:]), Yard: f.Yard, Name: f.YardName, Listen: f.Listen, Address: f.Address, Timers: f.Timers, Founder: true}
	return id[:], s.write(f.Dir)
}

// newDir makes the directory, and the replica's key in it.
func newDir(dir string) (ed25519.PrivateKey, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	if _, err := os.Stat(filepath.Join(dir, settingsFile)); err == nil {
		return nil, fmt.Errorf("%s holds a replica already: choose another directory", dir)
	}
	path := filepath.Join(dir, "replica.key")
	if _, err := os.Stat(path); err == nil {
		return keys.Read(path, nil) // a joining that was cut short goes on with its key
	}
	key, err := keys.Generate(rand.Reader)
	if err != nil {
		return nil, err
	}
	return key, keys.Write(path, key, "")
}

// PublicKey reads the public half of a data directory's replica key.
func PublicKey(dir string) (ed25519.PublicKey, error) {
	key, err := keys.Read(filepath.Join(dir, "replica.key"), nil)
	if err != nil {
		return nil, err
	}
	return key.Public().(ed25519.PublicKey), nil
}
