package replica

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// directory knows which yards there are, and which key and address each has. It learns
// this from the state. Until the state is read back, it uses peers.json.
type directory struct {
	path string
	mu   sync.RWMutex
	by   map[string]entry // by yard
	kept bool             // the file has the same as by
}

type entry struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	Key     []byte `json:"key"`
}

func openDirectory(dir string) (*directory, error) {
	b := &directory{path: filepath.Join(dir, "peers.json"), by: map[string]entry{}, kept: true}
	raw, err := os.ReadFile(b.path)
	if os.IsNotExist(err) {
		return b, nil
	}
	if err != nil {
		return nil, err
	}
	return b, json.Unmarshal(raw, &b.by)
}

func (b *directory) get(yard string) (entry, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	e, ok := b.by[yard]
	return e, ok
}

// yardOf finds the yard whose replica has this key.
func (b *directory) yardOf(key []byte) (string, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	for y, e := range b.by {
		if bytes.Equal(e.Key, key) {
			return y, true
		}
	}
	return "", false
}

// entries copies the yards of a state.
func entries(s *ledger.State) map[string]entry {
	out := map[string]entry{}
	for id, y := range s.Yards {
		out[id] = entry{y.Name, y.Address, y.Key}
	}
	return out
}

// learn takes over the yards of a state. It writes the file when something changed, so
// it must not be called while the state is locked.
func (b *directory) learn(now map[string]entry) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	for id, e := range now {
		if o, ok := b.by[id]; !ok || o.Name != e.Name || o.Address != e.Address || !bytes.Equal(o.Key, e.Key) {
			b.by[id], b.kept = e, false
		}
	}
	if b.kept {
		return nil
	}
	err := b.save()
	b.kept = err == nil
	return err
}

func (b *directory) save() error {
	raw, err := json.MarshalIndent(b.by, "", "  ")
	if err != nil {
		return err
	}
	return writeFile(b.path, raw, 0o600)
}

// infos lists the yards for one that joins.
func (b *directory) infos() []*recordv1.YardInfo {
	b.mu.RLock()
	defer b.mu.RUnlock()
	var out []*recordv1.YardInfo
	for _, id := range slices.Sorted(maps.Keys(b.by)) {
		e := b.by[id]
		out = append(out, &recordv1.YardInfo{Id: id, Name: e.Name, Address: e.Address, ReplicaKey: e.Key})
	}
	return out
}
