package replica

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"sync"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// book is who the yards are: from the state, and before it is read back from
// peers.json. It says which key to expect where.
type book struct {
	path string
	mu   sync.RWMutex
	by   map[string]entry // by yard
}

type entry struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	Key     []byte `json:"key"`
}

func openBook(dir string) (*book, error) {
	b := &book{path: filepath.Join(dir, "peers.json"), by: map[string]entry{}}
	raw, err := os.ReadFile(b.path)
	if os.IsNotExist(err) {
		return b, nil
	}
	if err != nil {
		return nil, err
	}
	return b, json.Unmarshal(raw, &b.by)
}

func (b *book) get(yard string) (entry, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	e, ok := b.by[yard]
	return e, ok
}

// yardOf finds the yard whose replica has this key.
func (b *book) yardOf(key []byte) (string, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	for y, e := range b.by {
		if bytes.Equal(e.Key, key) {
			return y, true
		}
	}
	return "", false
}

// learn takes the yards of a state; it writes the file when something changed.
func (b *book) learn(s *ledger.State) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	changed := false
	for id, y := range s.Yards {
		e := entry{y.Name, y.Address, y.Key}
		if o, ok := b.by[id]; !ok || o.Address != e.Address || !bytes.Equal(o.Key, e.Key) {
			b.by[id], changed = e, true
		}
	}
	if !changed {
		return nil
	}
	return b.save()
}

func (b *book) save() error {
	raw, err := json.MarshalIndent(b.by, "", "  ")
	if err != nil {
		return err
	}
	return writeFile(b.path, raw, 0o600)
}

// infos lists the yards for a joiner.
func (b *book) infos() []*recordv1.YardInfo {
	b.mu.RLock()
	defer b.mu.RUnlock()
	var out []*recordv1.YardInfo
	for id, e := range b.by {
		out = append(out, &recordv1.YardInfo{Id: id, Name: e.Name, Address: e.Address, ReplicaKey: e.Key})
	}
	return out
}
