package client

import (
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"

	"github.com/goccy/go-yaml"

	"yardhasp/ledger"
)

// Profile says who a person is in one ledger, and how to reach its yards.
type Profile struct {
	// Ledger is the ledger's id, 32 bytes.
	Ledger []byte
	Coop   string
	// Person is the id the person signs with.
	Person string
	// Key is the path of the person's key file, as written in the profile.
	Key string
	// Yard is the yard to ask first.
	Yard string
	// Device begins the name that the tickets of this machine carry.
	Device string
	Yards  []Yard

	path string
}

// Yard is one yard's replica.
type Yard struct {
	ID, Name string
	// Address is host:port.
	Address string
	// Key is the replica's Ed25519 public key. The client speaks to no other key.
	Key []byte
}

type profileFile struct {
	Ledger string     `yaml:"ledger"`
	Coop   string     `yaml:"coop"`
	Person string     `yaml:"person"`
	Key    string     `yaml:"key"`
	Yard   string     `yaml:"yard"`
	Device string     `yaml:"device"`
	Yards  []yardFile `yaml:"yards"`
}

type yardFile struct {
	ID      string `yaml:"id"`
	Name    string `yaml:"name"`
	Address string `yaml:"address"`
	Key     string `yaml:"key"`
}

// DefaultProfilePath is $XDG_CONFIG_HOME/yardhasp/profile.yaml, or the same
// under ~/.config.
func DefaultProfilePath() (string, error) {
	dir, err := baseDir("XDG_CONFIG_HOME", ".config")
	if err != nil {
		return "", err
	}
	return filepath.Join(dir, "yardhasp", "profile.yaml"), nil
}

// StateDir is $XDG_STATE_HOME/yardhasp/<first 12 hex digits of the ledger>, or the same
// under ~/.local/state. It does not create the folder.
func (p *Profile) StateDir() (string, error) {
	dir, err := baseDir("XDG_STATE_HOME", filepath.Join(".local", "state"))
	if err != nil {
		return "", err
	}
	id := hex.EncodeToString(p.Ledger)
	return filepath.Join(dir, "yardhasp", id[:min(12, len(id))]), nil
}

func baseDir(variable, under string) (string, error) {
	// The XDG base directory specification ignores paths that are not absolute.
	if dir := os.Getenv(variable); filepath.IsAbs(dir) {
		return dir, nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("no home folder is known: %w; set %s", err, variable)
	}
	return filepath.Join(home, under), nil
}

// LoadProfile reads a profile. An unknown field or a wrong value is an error that names
// its place. A missing file is fs.ErrNotExist.
func LoadProfile(path string) (*Profile, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read profile: %w", err)
	}
	var f profileFile
	if err := yaml.UnmarshalWithOptions(data, &f, yaml.Strict()); err != nil {
		return nil, fmt.Errorf("read profile %s: %s", path, yaml.FormatError(err, false, true))
	}
	p := &Profile{Coop: f.Coop, Person: f.Person, Key: f.Key, Yard: f.Yard, Device: f.Device, path: path}
	if p.Ledger, err = hex.DecodeString(f.Ledger); err != nil {
		return nil, fmt.Errorf("read profile %s: ledger is not hex: %w", path, err)
	}
	for _, y := range f.Yards {
		key, err := base64.StdEncoding.Strict().DecodeString(y.Key)
		if err != nil {
			return nil, fmt.Errorf("read profile %s: key of yard %q is not base64: %w", path, y.ID, err)
		}
		p.Yards = append(p.Yards, Yard{ID: y.ID, Name: y.Name, Address: y.Address, Key: key})
	}
	if err := p.check(); err != nil {
		return nil, fmt.Errorf("read profile %s: %w", path, err)
	}
	return p, nil
}

// Save writes the profile, readable only by its owner. It is on disk when Save returns.
// A reader sees the whole previous file or the whole new one.
func (p *Profile) Save(path string) error {
	if err := p.check(); err != nil {
		return fmt.Errorf("write profile %s: %w", path, err)
	}
	f := profileFile{Ledger: hex.EncodeToString(p.Ledger), Coop: p.Coop, Person: p.Person, Key: p.Key, Yard: p.Yard, Device: p.Device}
	for _, y := range p.Yards {
		f.Yards = append(f.Yards, yardFile{ID: y.ID, Name: y.Name, Address: y.Address, Key: base64.StdEncoding.EncodeToString(y.Key)})
	}
	data, err := yaml.Marshal(f)
	if err != nil {
		return fmt.Errorf("write profile %s: %w", path, err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("write profile: %w", err)
	}
	if err := writeWhole(path, data); err != nil {
		return fmt.Errorf("write profile: %w", err)
	}
	p.path = path
	return nil
}

// KeyPath is the path of the key file. Key is relative to the profile's folder.
func (p *Profile) KeyPath() string {
	if filepath.IsAbs(p.Key) || p.path == "" {
		return p.Key
	}
	return filepath.Join(filepath.Dir(p.path), p.Key)
}

// YardByID finds a yard.
func (p *Profile) YardByID(id string) (Yard, bool) {
	for _, y := range p.Yards {
		if y.ID == id {
			return y, true
		}
	}
	return Yard{}, false
}

func (p *Profile) check() error {
	switch {
	case len(p.Ledger) != 32:
		return errors.New("ledger is not the 64 hex digits of a ledger id")
	case !ledger.Name(p.Person):
		return fmt.Errorf("person %q is not an id: lower-case letters, digits and hyphens", p.Person)
	case p.Key == "":
		return errors.New("key is missing: give the path of your key file")
	case !ledger.Name(p.Device) || len(p.Device) > maxDevice:
		return fmt.Errorf("device %q is not a name of at most %d lower-case letters, digits and hyphens", p.Device, maxDevice)
	case len(p.Yards) == 0:
		return errors.New("yards is empty: name at least one yard")
	}
	seen := map[string]bool{}
	for _, y := range p.Yards {
		switch {
		case !ledger.Name(y.ID) || seen[y.ID]:
			return fmt.Errorf("yard id %q is not a name, or stands there twice", y.ID)
		case len(y.Key) != 32:
			return fmt.Errorf("key of yard %q has %d bytes, not 32", y.ID, len(y.Key))
		}
		if _, _, err := net.SplitHostPort(y.Address); err != nil {
			return fmt.Errorf("address of yard %q: %w; write host:port", y.ID, err)
		}
		seen[y.ID] = true
	}
	if !seen[p.Yard] {
		return fmt.Errorf("yard %q is not among yards", p.Yard)
	}
	return nil
}
