package client_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"strings"
	"testing"
	"testing/synctest"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/fakeyard"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// history is a small true ledger: a founding and some registered points.
type history struct {
	id       []byte
	founding []byte // the Signed
	entries  [][]byte
	state    *ledger.State
}

func sign(t *testing.T, domain string, m proto.Message, keys ...ed25519.PrivateKey) []byte {
	t.Helper()
	body, err := proto.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	s := &recordv1.Signed{Body: body}
	for _, k := range keys {
		s.Signatures = append(s.Signatures, &recordv1.Signature{Key: k.Public().(ed25519.PublicKey), Signature: seal.Sign(k, domain, body)})
	}
	raw, err := proto.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

func newHistory(t *testing.T, devices ...string) *history {
	t.Helper()
	f := &recordv1.Founding{Coop: "Three Forks Grain Co-op", Nonce: bytes.Repeat([]byte{7}, 32), CreatedUnixMs: 1,
		Yard:       &recordv1.YardInfo{Id: "eastfork", Name: "East Fork", Address: "eastfork:7420", ReplicaKey: keyOf("eastfork").Public().(ed25519.PublicKey)},
		Manager:    &recordv1.Person{Id: "mia-berg", Name: "Mia Berg", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER}},
		ManagerKey: keyOf("mia").Public().(ed25519.PublicKey)}
	h := &history{state: ledger.New(), founding: sign(t, seal.FoundingDomain, f, keyOf("mia"), keyOf("eastfork"))}
	h.add(t, ledger.FoundingEntry(h.founding))
	h.id = h.state.LedgerID()
	for i, d := range devices {
		rec := &recordv1.Record{Ledger: h.id, Signer: "mia-berg", Ticket: &recordv1.Ticket{Device: "office", Counter: uint64(i) + 1}, CapturedUnixMs: 2,
			Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: "eastfork/mcc-1/" + d, Holes: 1}}}
		h.add(t, ledger.DirectEntry(sign(t, seal.RecordDomain, rec, keyOf("mia"))))
	}
	return h
}

func (h *history) add(t *testing.T, raw []byte) {
	t.Helper()
	raw, err := ledger.Stamp(raw, 1000+int64(len(h.entries)))
	if err != nil {
		t.Fatal(err)
	}
	e, err := ledger.Decode(raw)
	if err != nil {
		t.Fatal(err)
	}
	if out := h.state.Apply(e); !out.GetAccepted() {
		t.Fatalf("entry %d was refused: %v", len(h.entries), out.GetConditions())
	}
	h.entries = append(h.entries, raw)
}

func (h *history) checkpoint(t *testing.T, yard string) []byte {
	t.Helper()
	signer, err := seal.NewNoteSigner(yard, keyOf(yard))
	if err != nil {
		t.Fatal(err)
	}
	msg, err := seal.SignCheckpoint(seal.Origin(h.id), h.state.Size(), h.state.Root(), signer)
	if err != nil {
		t.Fatal(err)
	}
	return msg
}

func (h *history) file(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := client.WriteExport(&b, h.entries, h.checkpoint(t, "eastfork")); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The form is written down in export.go; here it is read by hand.
func TestExportForm(t *testing.T) {
	h := newHistory(t, "fan")
	file := h.file(t)
	want := []byte("yardhasp export 1\n")
	for _, e := range h.entries {
		want = append(binary.BigEndian.AppendUint32(want, uint32(len(e))), e...)
	}
	want = append(want, 0, 0, 0, 0)
	note := h.checkpoint(t, "eastfork")
	want = append(binary.BigEndian.AppendUint32(want, uint32(len(note))), note...)
	if !bytes.Equal(file, want) {
		t.Error("the file is not in the form its comment describes")
	}
}

func TestVerify(t *testing.T) {
	h := newHistory(t)
	early := h.checkpoint(t, "eastfork")
	h = newHistory(t, "fan", "leg-1", "leg-2")
	v, err := client.VerifyExport(bytes.NewReader(h.file(t)), h.id, early)
	if err != nil {
		t.Fatal(err)
	}
	if v.Size != 4 || v.Coop != "Three Forks Grain Co-op" || len(v.SignedBy) != 1 || v.SignedBy[0] != "eastfork" || len(v.Earlier) != 1 {
		t.Errorf("verified %+v", v)
	}
}

// Every single changed byte is found, and so is any cut.
func TestVerifyFindsEveryChange(t *testing.T) {
	h := newHistory(t, "fan", "leg-1")
	file := h.file(t)
	for i := range file {
		bad := bytes.Clone(file)
		bad[i] ^= 1
		if _, err := client.VerifyExport(bytes.NewReader(bad), h.id); err == nil {
			t.Fatalf("a change of byte %d of %d was not found", i, len(file))
		}
		if _, err := client.VerifyExport(bytes.NewReader(file[:i]), h.id); err == nil {
			t.Fatalf("a cut at byte %d of %d was not found", i, len(file))
		}
	}
	if _, err := client.VerifyExport(bytes.NewReader(append(file, 0)), h.id); err == nil {
		t.Error("a byte more was not found")
	}
}

func TestVerifyNamesTheFault(t *testing.T) {
	h := newHistory(t, "fan", "leg-1", "leg-2")
	other := newHistory(t, "fan", "leg-9", "leg-2", "pit")
	write := func(entries [][]byte, note []byte) []byte {
		var b bytes.Buffer
		if err := client.WriteExport(&b, entries, note); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	note := h.checkpoint(t, "eastfork")
	changed := append([][]byte{}, h.entries...)
	changed[2] = bytes.Replace(changed[2], []byte("leg-1"), []byte("leg-8"), 1)
	stranger := sha256.Sum256([]byte("another"))
	for name, c := range map[string]struct {
		file    []byte
		id      []byte
		earlier []byte
		want    string
	}{
		"entry changed":    {file: write(changed, note), want: "entry 2 is the first that can't be right"},
		"entry left out":   {file: write(h.entries[:3], note), want: "the file has 3 entries, its checkpoint signs 4"},
		"order changed":    {file: write([][]byte{h.entries[0], h.entries[2], h.entries[1], h.entries[3]}, note), want: "not the ones the checkpoint signs"},
		"founding missing": {file: write(h.entries[1:], note), want: "entry 0"},
		"another ledger":   {file: write(h.entries, note), id: stranger[:], want: "entry 0: the file is of ledger"},
		"stranger's key":   {file: write(h.entries, h.checkpoint(t, "millrow")), want: "checkpoint"},
		"rewritten":        {file: write(h.entries, note), earlier: newHistory(t, "fan", "leg-9").checkpoint(t, "eastfork"), want: "history was rewritten"},
		"older than kept":  {file: write(h.entries, note), earlier: other.checkpoint(t, "eastfork"), want: "history was cut"},
		"no entries":       {file: write(nil, note), want: "no entries"},
	} {
		t.Run(name, func(t *testing.T) {
			var earlier [][]byte
			if c.earlier != nil {
				earlier = append(earlier, c.earlier)
			}
			_, err := client.VerifyExport(bytes.NewReader(c.file), c.id, earlier...)
			var tampered *client.Tampered
			if !errors.As(err, &tampered) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want a *Tampered that says %q", err, c.want)
			}
		})
	}
}

// The export goes on at another yard, and is refused when it is not what the
// checkpoint signs.
func TestExport(t *testing.T) {
	for name, lie := range map[string]bool{"true": false, "changed on the way": true} {
		t.Run(name, func(t *testing.T) {
			h := newHistory(t, "fan", "leg-1", "leg-2")
			note := h.checkpoint(t, "eastfork")
			n := newNet(t)
			n.profile.Ledger = h.id
			synctest.Test(t, func(t *testing.T) {
				n.yards["eastfork"].OnCheckpoint = func() (string, error) { return string(note), nil }
				n.yards["eastfork"].OnExport = func(from, to uint64) ([][]byte, error) {
					return h.entries[from:2], status.Error(codes.Unavailable, "lost")
				}
				n.yards["millrow"].OnExport = func(from, to uint64) ([][]byte, error) {
					rest := append([][]byte{}, h.entries[from:to]...)
					if lie {
						rest[0] = bytes.Replace(rest[0], []byte("leg-1"), []byte("leg-8"), 1)
					}
					return rest, nil
				}
				c, end := n.start()
				defer end()
				var b bytes.Buffer
				size, err := c.Export(soon(t), &b)
				var tampered *client.Tampered
				switch {
				case lie && !errors.As(err, &tampered):
					t.Errorf("error %v, want a *Tampered", err)
				case !lie && (err != nil || size != 4 || !bytes.Equal(b.Bytes(), h.file(t))):
					t.Errorf("%d entries, error %v, or other bytes", size, err)
				}
			})
		})
	}
}

// A checkpoint that no yard of the profile signed is not passed on.
func TestExportWithForeignCheckpoint(t *testing.T) {
	h := newHistory(t, "fan")
	n := newNet(t)
	n.profile.Ledger = h.id
	signer, err := seal.NewNoteSigner("eastfork", keyOf("impostor"))
	if err != nil {
		t.Fatal(err)
	}
	note, err := seal.SignCheckpoint(seal.Origin(h.id), h.state.Size(), h.state.Root(), signer)
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"] = &fakeyard.Yard{ID: "eastfork", Key: keyOf("eastfork"), OnCheckpoint: func() (string, error) { return string(note), nil }}
		c, end := n.start()
		defer end()
		var tampered *client.Tampered
		if _, err := c.Export(soon(t), &bytes.Buffer{}); !errors.As(err, &tampered) {
			t.Errorf("error %v, want a *Tampered", err)
		}
	})
}

// No file makes ReadExport panic, and what it reads whole is written the same.
func FuzzReadExport(f *testing.F) {
	var b bytes.Buffer
	if err := client.WriteExport(&b, [][]byte{{1, 2}, {3}}, []byte("note")); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("yardhasp export 1\n\x00\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, in []byte) {
		var entries [][]byte
		note, err := client.ReadExport(bytes.NewReader(in), func(_ uint64, raw []byte) error {
			entries = append(entries, raw)
			return nil
		})
		if err != nil {
			return
		}
		var out bytes.Buffer
		if err := client.WriteExport(&out, entries, note); err != nil || !bytes.Equal(out.Bytes(), in) {
			t.Errorf("%d bytes read, %d written (%v)", len(in), out.Len(), err)
		}
	})
}

// Entries come in order from the first yard that has them, and go on at the next
// where one broke off; one out of order ends it.
func TestEntries(t *testing.T) {
	h := newHistory(t, "fan", "leg-1", "leg-2")
	n := newNet(t)
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnExport = func(from, to uint64) ([][]byte, error) {
			return h.entries[from:2], status.Error(codes.Unavailable, "lost")
		}
		n.yards["millrow"].OnExport = func(from, to uint64) ([][]byte, error) { return h.entries[from:to], nil }
		c, end := n.start()
		defer end()
		var got [][]byte
		each := func(i uint64, raw []byte) error {
			if i != uint64(len(got))+1 {
				t.Errorf("entry %d after %d", i, len(got))
			}
			got = append(got, raw)
			return nil
		}
		if err := c.Entries(soon(t), 1, 4, each); err != nil || len(got) != 3 || !bytes.Equal(got[2], h.entries[3]) {
			t.Errorf("%d entries, %v", len(got), err)
		}
		stop := errors.New("enough")
		if err := c.Entries(soon(t), 0, 4, func(uint64, []byte) error { return stop }); !errors.Is(err, stop) {
			t.Errorf("the caller's error became %v", err)
		}
		n.takeDown("eastfork", "millrow", "stonebend")
		var nobody *client.Unreachable
		if err := c.Entries(soon(t), 0, 4, each); !errors.As(err, &nobody) {
			t.Errorf("nobody there: %v", err)
		}
	})
}
