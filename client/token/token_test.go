package token_test

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"yardhasp/client/token"
)

func example() *token.Token {
	return &token.Token{Ledger: bytes.Repeat([]byte{1}, 32), Coop: "Three Forks Grain Co-op", Kind: token.Yard, ID: "stonebend", Invitation: "inv-0011223344",
		Yards: []token.Peer{{ID: "eastfork", Address: "eastfork.example:7420", Key: bytes.Repeat([]byte{2}, 32)}}, Seed: bytes.Repeat([]byte{3}, 32), ExpiresUnixMs: 1790000000000}
}

func encode(t *testing.T) string {
	t.Helper()
	text, err := token.Encode(example())
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestRoundTrip(t *testing.T) {
	text := encode(t)
	// A mail program's line breaks do no harm.
	wrapped := "  " + text[:70] + "\r\n\t" + text[70:] + "\n"
	for _, s := range []string{text, wrapped} {
		got, err := token.Decode(s)
		if err != nil || !reflect.DeepEqual(got, example()) {
			t.Errorf("read %+v, error %v", got, err)
		}
	}
}

// Every cut is told from a change, and every changed character is found.
func TestDamage(t *testing.T) {
	text := encode(t)
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	for i := len(token.Prefix); i < len(text); i++ {
		if _, err := token.Decode(text[:i]); !errors.Is(err, token.ErrCutOff) {
			t.Fatalf("cut at %d: error %v, want cut off", i, err)
		}
		c := alphabet[(strings.IndexByte(alphabet, text[i])+32)%64]
		if _, err := token.Decode(text[:i] + string(c) + text[i+1:]); err == nil {
			t.Fatalf("a change of character %d was not found", i)
		}
	}
	for in, want := range map[string]error{
		"":                              token.ErrNotToken,
		"hello":                         token.ErrNotToken,
		strings.ToUpper(text):           token.ErrNotToken,
		text + "AAAA":                   token.ErrChanged,
		token.Prefix + "!!!!":           token.ErrChanged,
		"yardhasp-invitation-2:" + text: token.ErrNotToken,
	} {
		if _, err := token.Decode(in); !errors.Is(err, want) {
			t.Errorf("%.40q: error %v, want %v", in, err, want)
		}
	}
}

func TestEncodeRefusesIncomplete(t *testing.T) {
	for name, spoil := range map[string]func(*token.Token){
		"ledger":       func(x *token.Token) { x.Ledger = nil },
		"kind":         func(x *token.Token) { x.Kind = "friend" },
		"id":           func(x *token.Token) { x.ID = "Stone Bend" },
		"one-time key": func(x *token.Token) { x.Seed = x.Seed[1:] },
		"yards":        func(x *token.Token) { x.Yards = nil },
		"key":          func(x *token.Token) { x.Yards[0].Key = nil },
		"address":      func(x *token.Token) { x.Yards[0].Address = "" },
	} {
		x := example()
		spoil(x)
		if _, err := token.Encode(x); err == nil {
			t.Errorf("a token without its %s was written", name)
		}
	}
}

func TestLive(t *testing.T) {
	x := example()
	end := time.UnixMilli(x.ExpiresUnixMs)
	if err := x.Live(end.Add(-time.Millisecond)); err != nil {
		t.Errorf("just before the end: %v", err)
	}
	if err := x.Live(end); !errors.Is(err, token.ErrExpired) {
		t.Errorf("at the end: %v, want expired", err)
	}
}

// No text makes Decode panic, and what it reads it writes again.
func FuzzDecode(f *testing.F) {
	text, err := token.Encode(example())
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add(token.Prefix)
	f.Add(text[:len(text)-3])
	f.Fuzz(func(t *testing.T, in string) {
		got, err := token.Decode(in)
		if err != nil {
			return
		}
		again, err := token.Encode(got)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := token.Decode(again); err != nil || !reflect.DeepEqual(back, got) {
			t.Errorf("read %+v, then %+v (%v)", got, back, err)
		}
	})
}
