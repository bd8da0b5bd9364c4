// Package token writes an invitation as one line of text that can be read out, mailed or
// put in a file. It says who is invited, how to reach the inviting yards and which keys
// they have. It holds the one-time key that redeems it.
//
// The line is "yardhasp-invitation-1:" and the unpadded base64url (RFC 4648) of
//
//	uint32(length) || content || first 8 bytes of SHA-256(content)
//
// The length is big-endian and the content is JSON. The hash finds typing errors. It
// does not protect the invitation: anybody who has the line has the key.
package token

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"yardhasp/ledger"
)

// Prefix begins every token.
const Prefix = "yardhasp-invitation-1:"

// These say what a token invites.
const (
	Person = "person"
	Yard   = "yard"
)

// Decode and Live wrap these errors.
var (
	ErrNotToken = errors.New("this is no invitation: it begins with \"" + Prefix + "\"")
	ErrCutOff   = errors.New("the invitation is cut off: copy all of it")
	ErrChanged  = errors.New("the invitation was changed on the way: copy it again")
	ErrExpired  = errors.New("the invitation is over: ask a manager for a new one")
)

// Token is one invitation.
type Token struct {
	// Ledger is the ledger's id, 32 bytes.
	Ledger []byte `json:"ledger"`
	Coop   string `json:"coop"`
	// Kind is Person or Yard.
	Kind string `json:"kind"`
	// ID is the person or yard that is invited.
	ID         string `json:"id"`
	Invitation string `json:"invitation"`
	Yards      []Peer `json:"yards"`
	// Seed makes the one-time key (RFC 8032, 32 bytes). It must stay secret.
	Seed          []byte `json:"once_key"`
	ExpiresUnixMs int64  `json:"expires_unix_ms"`
}

// Peer is a yard to join through.
type Peer struct {
	ID      string `json:"id"`
	Address string `json:"address"`
	// Key is the replica's public key, 32 bytes. The client speaks to no other key.
	Key []byte `json:"key"`
}

// OnceKey is the one-time key that signs the join.
func (t *Token) OnceKey() ed25519.PrivateKey { return ed25519.NewKeyFromSeed(t.Seed) }

// Live returns an error that is ErrExpired when the invitation is over.
func (t *Token) Live(now time.Time) error {
	if end := time.UnixMilli(t.ExpiresUnixMs); !now.Before(end) {
		return fmt.Errorf("%w (it ended %s)", ErrExpired, end.UTC().Format(time.RFC3339))
	}
	return nil
}

// Encode writes the token as one line.
func Encode(t *Token) (string, error) {
	if err := t.check(); err != nil {
		return "", fmt.Errorf("write the invitation: %w", err)
	}
	content, err := json.Marshal(t)
	if err != nil {
		return "", fmt.Errorf("write the invitation: %w", err)
	}
	raw := binary.BigEndian.AppendUint32(nil, uint32(len(content)))
	raw = append(raw, content...)
	sum := sha256.Sum256(content)
	return Prefix + base64.RawURLEncoding.EncodeToString(append(raw, sum[:8]...)), nil
}

// Decode reads a token. It ignores white space that mail or a terminal put in. It does
// not check whether the token has expired: Live does.
func Decode(text string) (*Token, error) {
	rest, ok := strings.CutPrefix(strings.Join(strings.Fields(text), ""), Prefix)
	if !ok {
		return nil, ErrNotToken
	}
	// Four characters make a group. A last group of one character means that the line
	// was cut.
	if len(rest)%4 == 1 {
		return nil, ErrCutOff
	}
	raw, err := base64.RawURLEncoding.DecodeString(rest)
	if err != nil {
		return nil, ErrChanged
	}
	if len(raw) < 4 {
		return nil, ErrCutOff
	}
	n := uint64(binary.BigEndian.Uint32(raw))
	switch have := uint64(len(raw)); {
	case n > 1<<20:
		return nil, ErrChanged
	case have < 4+n+8:
		return nil, ErrCutOff
	case have > 4+n+8:
		return nil, ErrChanged
	}
	content := raw[4 : 4+n]
	if sum := sha256.Sum256(content); !bytes.Equal(sum[:8], raw[4+n:]) {
		return nil, ErrChanged
	}
	t := &Token{}
	in := json.NewDecoder(bytes.NewReader(content))
	in.DisallowUnknownFields()
	if err := in.Decode(t); err != nil {
		return nil, fmt.Errorf("the invitation is of another release: %w", err)
	}
	if err := t.check(); err != nil {
		return nil, fmt.Errorf("read the invitation: %w", err)
	}
	return t, nil
}

func (t *Token) check() error {
	switch {
	case len(t.Ledger) != sha256.Size:
		return errors.New("it names no ledger")
	case t.Kind != Person && t.Kind != Yard:
		return fmt.Errorf("it is for a %q, neither a person nor a yard", t.Kind)
	case !ledger.Name(t.ID) || !ledger.Name(t.Invitation):
		return errors.New("it does not say who is invited")
	case len(t.Seed) != ed25519.SeedSize:
		return errors.New("its one-time key is not whole")
	case len(t.Yards) == 0:
		return errors.New("it names no yard to join through")
	}
	for _, y := range t.Yards {
		if !ledger.Name(y.ID) || y.Address == "" || len(y.Key) != ed25519.PublicKeySize {
			return fmt.Errorf("yard %q in it is not whole", y.ID)
		}
	}
	return nil
}
