package replica

import (
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"net"
	"path/filepath"
	"slices"

	"yardhasp/client"
	"yardhasp/client/token"
	"yardhasp/replica/quorum"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Joining is what a yard needs to join a ledger.
type Joining struct {
	Dir, Listen, Address, Timers, Token string
	// Dial, when set, makes the connection to the yard that this yard joins through.
	Dial func(ctx context.Context, address string) (net.Conn, error)
}

// Join uses a yard's invitation and makes its data directory.
func Join(ctx context.Context, j Joining) (*Settings, error) {
	t, err := token.Decode(j.Token)
	if err != nil {
		return nil, err
	}
	if t.Kind != token.Yard {
		return nil, fmt.Errorf("this invitation is for a person, not for a yard: use it with yardhasp join")
	}
	if _, ok := quorum.Profiles[j.Timers]; !ok {
		return nil, fmt.Errorf("timers %q: the profiles are lan and rural", j.Timers)
	}
	key, err := newDir(j.Dir)
	if err != nil {
		return nil, err
	}
	var opts []client.Option
	if j.Dial != nil {
		opts = append(opts, client.WithDialer(j.Dial))
	}
	res, err := client.JoinYard(ctx, t, key, j.Address, opts...)
	if err != nil {
		return nil, err
	}
	b, err := openDirectory(j.Dir)
	if err != nil {
		return nil, err
	}
	for _, y := range res.GetYards() {
		b.by[y.GetId()] = entry{y.GetName(), y.GetAddress(), y.GetReplicaKey()}
	}
	b.by[t.ID] = entry{t.ID, j.Address, key.Public().(ed25519.PublicKey)}
	if err := b.save(); err != nil {
		return nil, err
	}
	if err := writeFile(filepath.Join(j.Dir, "founding"), res.GetFounding(), 0o600); err != nil {
		return nil, err
	}
	name := t.ID
	if i := slices.IndexFunc(res.GetYards(), func(y *recordv1.YardInfo) bool { return y.GetId() == t.ID }); i >= 0 {
		name = res.GetYards()[i].GetName()
	}
	s := &Settings{Ledger: hex.EncodeToString(t.Ledger), Yard: t.ID, Name: name, Listen: j.Listen, Address: j.Address, Timers: j.Timers}
	return s, s.write(j.Dir)
}
