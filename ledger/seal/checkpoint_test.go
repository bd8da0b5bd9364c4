package seal_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"math"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"

	"yardhasp/ledger/seal"
)

// opensslCheckpoint was signed by OpenSSL 3.0.19 with the key of RFC 8032
// section 7.1 test 1; its frame was put together by hand from the C2SP
// tlog-checkpoint and signed-note texts (from memory), its root is the
// Certificate Transparency vector of size 1.
const opensslCheckpoint = `yardhasp/00010203
1
bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=

— eastfork zKeoBzIs6daKZ6vugJ5e4R+KMOGHNnAezJWvZ+glU+2LsuckOGg7gsvP2abFNmV+Yf59zRrG5NkPMfGO4N+OvEx52g0=
`

const origin = "yardhasp/00010203"

func signer(t *testing.T, name string, key ed25519.PrivateKey) *seal.NoteSigner {
	t.Helper()
	s, err := seal.NewNoteSigner(name, key)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func verifiers(t *testing.T, name string, key []byte) note.Verifiers {
	t.Helper()
	v, err := seal.VerifierFor(name, key)
	if err != nil {
		t.Fatal(err)
	}
	return note.VerifierList(v)
}

func sizeOneRoot() [32]byte { return seal.LeafHash(nil) }

func TestCheckpointAgreesWithOpenSSL(t *testing.T) {
	key, public := key1(t)
	if got := seal.Origin([]byte{0, 1, 2, 3}); got != origin {
		t.Fatalf("origin %q, want %q", got, origin)
	}
	msg, err := seal.SignCheckpoint(origin, 1, sizeOneRoot(), signer(t, "eastfork", key))
	if err != nil {
		t.Fatal(err)
	}
	if string(msg) != opensslCheckpoint {
		t.Errorf("checkpoint\n%s\nwant\n%s", msg, opensslCheckpoint)
	}
	size, root, err := seal.OpenCheckpoint([]byte(opensslCheckpoint), origin, verifiers(t, "eastfork", public))
	if err != nil || size != 1 || root != sizeOneRoot() {
		t.Errorf("opened as size %d, root %x: %v", size, root, err)
	}
}

// The example of the package comment.
func ExampleSignCheckpoint() {
	// A key for an example only: anybody can make it.
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, ed25519.SeedSize))
	me, err := seal.NewNoteSigner("eastfork", key)
	if err != nil {
		fmt.Println(err)
		return
	}
	var tree seal.Edge
	tree.Append(nil)
	msg, err := seal.SignCheckpoint(seal.Origin([]byte{0, 1, 2, 3}), tree.Size, tree.Root(), me)
	if err != nil {
		fmt.Println(err)
		return
	}
	text, _, _ := strings.Cut(string(msg), "\n\n")
	fmt.Println(text)
	// Output:
	// yardhasp/00010203
	// 1
	// bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=
}

func TestCheckpointNoticesEachFlippedBit(t *testing.T) {
	_, public := key1(t)
	known := verifiers(t, "eastfork", public)
	msg := []byte(opensslCheckpoint)
	for i := range msg {
		for bit := range 8 {
			msg[i] ^= 1 << bit
			if size, root, err := seal.OpenCheckpoint(msg, origin, known); err == nil {
				t.Errorf("byte %d, bit %d flipped and opened as size %d, root %x", i, bit, size, root)
			} else if size != 0 || root != [32]byte{} {
				t.Errorf("byte %d, bit %d: an error with size %d, root %x", i, bit, size, root)
			}
			msg[i] ^= 1 << bit
		}
	}
	for n := range msg {
		if _, _, err := seal.OpenCheckpoint(msg[:n], origin, known); err == nil {
			t.Errorf("the first %d bytes opened", n)
		}
	}
	if _, _, err := seal.OpenCheckpoint(append(msg, '\n'), origin, known); err == nil {
		t.Error("a further empty line opened")
	}
}

func TestCheckpointTextIsStrict(t *testing.T) {
	key, public := key1(t)
	me, known := signer(t, "eastfork", key), verifiers(t, "eastfork", public)
	const root = "bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0="
	for name, text := range map[string]string{
		"other ledger":    "yardhasp/00010204\n1\n" + root + "\n",
		"other origin":    "elsewhere/00010203\n1\n" + root + "\n",
		"leading zero":    origin + "\n01\n" + root + "\n",
		"plus sign":       origin + "\n+1\n" + root + "\n",
		"hex size":        origin + "\n0x1\n" + root + "\n",
		"no size":         origin + "\n\n" + root + "\n",
		"beyond 64 bits":  origin + "\n18446744073709551617\n" + root + "\n",
		"short root":      origin + "\n1\nAAAA\n",
		"unpadded root":   origin + "\n1\n" + strings.TrimSuffix(root, "=") + "\n",
		"spare bits":      origin + "\n1\n" + strings.Replace(root, "0=", "1=", 1) + "\n",
		"extension":       origin + "\n1\n" + root + "\nmore\n",
		"no root":         origin + "\n1\n",
		"empty with root": origin + "\n0\n" + root + "\n",
	} {
		// Signed by the right key: only the text is wrong.
		msg, err := note.Sign(&note.Note{Text: text}, me)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		_, _, err = seal.OpenCheckpoint(msg, origin, known)
		if err == nil {
			t.Errorf("%s: opened\n%s", name, msg)
		}
		if name == "other ledger" && !strings.Contains(fmt.Sprint(err), "belongs to another ledger") {
			t.Errorf("%s: the error does not say so: %v", name, err)
		}
	}
}

func TestCheckpointSigners(t *testing.T) {
	key, public := key1(t)
	otherKey, otherPublic := key2(t)
	msg, err := seal.SignCheckpoint(origin, math.MaxUint64, [32]byte{7}, signer(t, "eastfork", key), signer(t, "millrow", otherKey))
	if err != nil {
		t.Fatal(err)
	}
	for name, known := range map[string]note.Verifiers{
		"the first":  verifiers(t, "eastfork", public),
		"the second": verifiers(t, "millrow", otherPublic),
	} {
		size, root, err := seal.OpenCheckpoint(msg, origin, known)
		if err != nil || size != math.MaxUint64 || root != [32]byte{7} {
			t.Errorf("%s: size %d, root %x: %v", name, size, root, err)
		}
	}
	for name, known := range map[string]note.Verifiers{
		"nobody":                     nil,
		"another name, the same key": verifiers(t, "stonebend", public),
		"the same name, another key": verifiers(t, "eastfork", otherPublic),
	} {
		if _, _, err := seal.OpenCheckpoint(msg, origin, known); err == nil {
			t.Errorf("%s: opened", name)
		}
	}
	lines := strings.SplitAfter(string(msg), "\n")
	twice := strings.Join(append(lines, lines[4]), "")
	if _, _, err := seal.OpenCheckpoint([]byte(twice), origin, verifiers(t, "eastfork", public)); err == nil {
		t.Error("one key's signature twice opened")
	}
}

func TestSignCheckpointRefuses(t *testing.T) {
	key, _ := key1(t)
	me := signer(t, "eastfork", key)
	empty := sha256.Sum256(nil)
	if _, err := seal.SignCheckpoint(origin, 0, empty, me); err != nil {
		t.Errorf("the empty tree: %v", err)
	}
	if _, err := seal.SignCheckpoint(origin, 0, [32]byte{1}, me); err == nil {
		t.Error("an empty tree with a root was signed")
	}
	if _, err := seal.SignCheckpoint(origin, 1, empty); err == nil {
		t.Error("signed by nobody")
	}
	for _, bad := range []string{"", "yardhasp/", "yardhasp/0", "yardhasp/0A", "yardhasp/zz", "yardhasp/00\n", "00010203", "yardhasp record v1\x00"} {
		if msg, err := seal.SignCheckpoint(bad, 1, empty, me); err == nil {
			t.Errorf("origin %q was signed", bad)
		} else if _, _, err := seal.OpenCheckpoint(msg, bad, nil); err == nil {
			t.Errorf("origin %q was opened", bad)
		}
	}
	for _, name := range []string{"", "east fork", "east+fork", "east\nfork"} {
		if _, err := seal.NewNoteSigner(name, key); err == nil {
			t.Errorf("name %q was accepted", name)
		}
	}
	for _, n := range []int{0, 32, 63, 65} {
		if _, err := seal.NewNoteSigner("eastfork", make([]byte, n)); err == nil {
			t.Errorf("private key of %d bytes was accepted", n)
		}
	}
	if _, err := seal.VerifierFor("eastfork", make([]byte, 31)); err == nil {
		t.Error("public key of 31 bytes was accepted")
	}
}
