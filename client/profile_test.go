package client_test

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"yardhasp/client"
)

func TestProfileRoundTrip(t *testing.T) {
	n := newNet(t)
	path := filepath.Join(t.TempDir(), "deep", "profile.yaml")
	if err := n.profile.Save(path); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, error %v, want 0600", info.Mode(), err)
	}
	got, err := client.LoadProfile(path)
	if err != nil || !reflect.DeepEqual(got, n.profile) {
		t.Errorf("read back %+v (%v), want %+v", got, err, n.profile)
	}
	if got.KeyPath() != filepath.Join(filepath.Dir(path), "key") {
		t.Errorf("key path %s is not beside the profile", got.KeyPath())
	}
}

func TestProfileRefusesWrongFiles(t *testing.T) {
	n := newNet(t)
	path := filepath.Join(t.TempDir(), "profile.yaml")
	if err := n.profile.Save(path); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ old, new, want string }{
		{"coop:", "co-op:", "co-op"},
		{"person: ann-dahl", "person: Ann Dahl", "not an id"},
		{"yard: eastfork", "yard: nowhere", "not among yards"},
		{"address: eastfork:7420", "address: eastfork", "host:port"},
		{"ledger: ", "ledger: zz", "not hex"},
		{"device: tablet-1", "device: \"\"", "device"},
		{"id: millrow", "id: eastfork", "twice"},
	} {
		text := strings.Replace(string(good), c.old, c.new, 1)
		if text == string(good) {
			t.Fatalf("%q is not in the profile:\n%s", c.old, good)
		}
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := client.LoadProfile(path); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one that says %q", c.new, err, c.want)
		}
	}
}
