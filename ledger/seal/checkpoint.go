package seal

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
)

// originPrefix begins every origin, so that no checkpoint text can be read as
// the signed bytes of a record.
const originPrefix = "yardhasp/"

// Origin is the first line of a ledger's checkpoints: "yardhasp/" and the
// ledger id in lower-case hex.
func Origin(ledger []byte) string { return originPrefix + hex.EncodeToString(ledger) }

func checkOrigin(origin string) error {
	id, ok := strings.CutPrefix(origin, originPrefix)
	if raw, err := hex.DecodeString(id); !ok || err != nil || len(raw) == 0 || Origin(raw) != origin {
		return fmt.Errorf("checkpoint origin %q is not %q and a ledger id in lower-case hex", origin, originPrefix)
	}
	return nil
}

// A NoteSigner signs notes with an Ed25519 key under a name, by C2SP
// signed-note. It is a note.Signer.
type NoteSigner struct {
	name string
	hash uint32
	key  ed25519.PrivateKey
}

var _ note.Signer = (*NoteSigner)(nil)

// NewNoteSigner returns a signer for a 64-byte private key. The name must not
// be empty nor hold white space or "+".
func NewNoteSigner(name string, key ed25519.PrivateKey) (*NoteSigner, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("note signer %q: private key is %d bytes, want %d", name, len(key), ed25519.PrivateKeySize)
	}
	verifier, err := VerifierFor(name, key[32:])
	if err != nil {
		return nil, err
	}
	return &NoteSigner{name: name, hash: verifier.KeyHash(), key: key}, nil
}

// Name is the name the key signs under.
func (s *NoteSigner) Name() string { return s.name }

// KeyHash is the signed-note key id: the first four bytes of the SHA-256 over
// the name, a newline, 0x01 and the public key.
func (s *NoteSigner) KeyHash() uint32 { return s.hash }

// Sign returns the Ed25519 signature of a note's text.
func (s *NoteSigner) Sign(text []byte) ([]byte, error) { return ed25519.Sign(s.key, text), nil }

// VerifierFor returns the verifier for the notes that name signs with the
// private half of an Ed25519 public key.
func VerifierFor(name string, key []byte) (note.Verifier, error) {
	encoded, err := note.NewEd25519VerifierKey(name, key)
	if err != nil {
		return nil, fmt.Errorf("note key %q: %w", name, err)
	}
	verifier, err := note.NewVerifier(encoded)
	if err != nil {
		return nil, fmt.Errorf("note key name %q: %w: use a name without white space and \"+\"", name, err)
	}
	return verifier, nil
}

// SignCheckpoint returns the signed checkpoint of a tree of size leaves, in the form of
// the package comment. origin is the result of Origin. At least one signer is needed.
func SignCheckpoint(origin string, size uint64, root [32]byte, signers ...note.Signer) ([]byte, error) {
	if err := checkOrigin(origin); err != nil {
		return nil, err
	}
	if err := checkEmpty(size, root); err != nil {
		return nil, err
	}
	if len(signers) == 0 {
		return nil, errors.New("checkpoint has no signer: give at least one")
	}
	msg, err := note.Sign(&note.Note{Text: checkpointText(origin, size, root)}, signers...)
	if err != nil {
		return nil, fmt.Errorf("checkpoint of size %d: %w", size, err)
	}
	return msg, nil
}

func checkpointText(origin string, size uint64, root [32]byte) string {
	return origin + "\n" + strconv.FormatUint(size, 10) + "\n" + base64.StdEncoding.EncodeToString(root[:]) + "\n"
}

// checkEmpty refuses an empty tree with a root: only one root is right for size 0.
func checkEmpty(size uint64, root [32]byte) error {
	if size == 0 && root != sha256.Sum256(nil) {
		return errors.New("checkpoint of an empty tree has a root other than the empty tree's")
	}
	return nil
}

// OpenCheckpoint reads a signed checkpoint of the ledger that origin names. It is an
// error if no known verifier signed it, if a known one's signature is wrong, or if any
// byte is not as SignCheckpoint writes it. Signatures of unknown keys are allowed and
// count for nothing. A checkpoint that verifies was signed. The caller must check
// whether it is new and whether it fits another one.
func OpenCheckpoint(msg []byte, origin string, verifiers note.Verifiers) (size uint64, root [32]byte, err error) {
	if err := checkOrigin(origin); err != nil {
		return 0, root, err
	}
	n, err := note.Open(msg, verifiers)
	if err != nil {
		return 0, root, fmt.Errorf("checkpoint: %w", err)
	}
	if err := checkSignatureLines(msg, n); err != nil {
		return 0, root, err
	}
	lines := strings.Split(n.Text, "\n")
	if len(lines) != 4 {
		return 0, root, fmt.Errorf("checkpoint text has %d lines, want origin, size and root", len(lines)-1)
	}
	if lines[0] != origin {
		return 0, root, fmt.Errorf("checkpoint is of %q, not of %q: it belongs to another ledger", lines[0], origin)
	}
	size, err = strconv.ParseUint(lines[1], 10, 64)
	if err != nil {
		return 0, root, fmt.Errorf("checkpoint size: %w", err)
	}
	raw, err := base64.StdEncoding.Strict().DecodeString(lines[2])
	if err != nil || len(raw) != len(root) {
		return 0, root, fmt.Errorf("checkpoint root %q is not the base64 of 32 bytes", lines[2])
	}
	root = [32]byte(raw)
	if n.Text != checkpointText(origin, size, root) {
		return 0, [32]byte{}, fmt.Errorf("checkpoint size %q is not written the one right way", lines[1])
	}
	if err := checkEmpty(size, root); err != nil {
		return 0, [32]byte{}, err
	}
	return size, root, nil
}

// checkSignatureLines checks what note.Open does not: the spare bits of a signature's
// base64, and repeated signatures of one key.
func checkSignatureLines(msg []byte, n *note.Note) error {
	if lines := bytes.Count(msg[len(n.Text)+1:], []byte("\n")); lines != len(n.Sigs)+len(n.UnverifiedSigs) {
		return errors.New("checkpoint is signed twice by one key")
	}
	for _, sigs := range [][]note.Signature{n.Sigs, n.UnverifiedSigs} {
		for _, sig := range sigs {
			raw, err := base64.StdEncoding.Strict().DecodeString(sig.Base64)
			if err != nil || len(raw) < 5 || binary.BigEndian.Uint32(raw) != sig.Hash {
				return fmt.Errorf("checkpoint signature of %q is not strict base64", sig.Name)
			}
		}
	}
	return nil
}
