package ledger

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/energy"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Moved names the last Energise or FoundClosed of a point (decisions.md 3).
type Moved struct {
	Epoch uint64 `json:"epoch"`
	Seq   uint64 `json:"seq"`
}

// Yard is one elevator and its journal, as the ledger knows it.
type Yard struct {
	ID      string   `json:"id"`
	Name    string   `json:"name"`
	Address string   `json:"address"`
	Key     []byte   `json:"key"`
	Epoch   uint64   `json:"epoch"`
	Drained uint64   `json:"drained"`
	Hashes  []string `json:"hashes,omitempty"` // of the last envelopes, newest last
	Cloned  bool     `json:"cloned,omitempty"` // two envelopes with one number were seen
	Joined  Mark     `json:"joined"`
}

// Person is somebody who may sign.
type Person struct {
	ID           string          `json:"id"`
	Name         string          `json:"name"`
	Employer     string          `json:"employer,omitempty"`
	Roles        []recordv1.Role `json:"roles"`
	Qualified    bool            `json:"qualified,omitempty"`
	TrainedUntil int64           `json:"trained_until,omitempty"`
	// Courses are trainings by class. Retrain is what must be learnt again, by zone.
	Courses  map[string]*Course  `json:"courses,omitempty"`
	Retrain  map[string]*Retrain `json:"retrain,omitempty"`
	Enrolled Mark                `json:"enrolled"`
}

// Has reports whether the person has any of the roles.
func (p *Person) Has(roles ...recordv1.Role) bool {
	return slices.ContainsFunc(roles, func(r recordv1.Role) bool { return slices.Contains(p.Roles, r) })
}

// Key is one public key and its owner.
type Key struct {
	Public []byte `json:"public"`
	Person string `json:"person,omitempty"`
	Yard   string `json:"yard,omitempty"`
	// Since is the index of the entry that enrolled the key. A key that replaced another
	// by the other's signature keeps the Since of the first one. It may end what began
	// from there on.
	Since uint64 `json:"since"`
	// By is the manager who reissued the key. It is empty when its owner enrolled it.
	By      string `json:"by,omitempty"`
	Revoked uint64 `json:"revoked,omitempty"` // index of the revocation, 0 for a live key
}

// Invitation lets one person or yard join once.
type Invitation struct {
	ID      string `json:"id"`
	Whom    []byte `json:"whom"` // the serialised Invite
	Expires int64  `json:"expires"`
	Used    bool   `json:"used,omitempty"`
	By      Mark   `json:"by"`
}

// Padlock is a registered personal lock.
type Padlock struct {
	Serial   string            `json:"serial"`
	Owner    string            `json:"owner"`
	KeysCut  uint32            `json:"keys_cut"`
	Spare    recordv1.SpareKey `json:"spare"`
	Recorded Mark              `json:"recorded"`
	// Kind says what opens the padlock. SpareHolder has the second key. SpareUnexplained
	// is set if that key left custody and no removal is recorded.
	Kind             recordv1.PadlockKind `json:"kind,omitempty"`
	SpareHolder      string               `json:"spare_holder,omitempty"`
	SpareUnexplained bool                 `json:"spare_unexplained,omitempty"`
}

// Point is an isolation point. A new one is live.
type Point struct {
	ID    string `json:"id"`
	Yard  string `json:"yard"`
	Label string `json:"label,omitempty"`
	Holes uint32 `json:"holes"`
	Live  bool   `json:"live"`
	Moved Moved  `json:"moved"`
	// Opened is the latest opening that counted. Closed is the latest record that made
	// the point live after it was open.
	Opened Mark `json:"opened"`
	Closed Mark `json:"closed"`
	// NotLockable: the device takes no lock. Demonstration is the id of the written
	// demonstration that a tag alone protects as fully there.
	NotLockable   bool   `json:"not_lockable,omitempty"`
	Demonstration string `json:"demonstration,omitempty"`
}

// Box is a group lock box. Points maps a point to when its key went in.
type Box struct {
	ID     string          `json:"id"`
	Yard   string          `json:"yard"`
	Label  string          `json:"label,omitempty"`
	Holes  uint32          `json:"holes"`
	Points map[string]Mark `json:"points"`
}

// Drawing is a yard's current drawing.
type Drawing struct {
	Yard     string `json:"yard"`
	Revision uint32 `json:"revision"`
	Bytes    []byte `json:"bytes"`
	Hash     string `json:"hash"`
	Recorded Mark   `json:"recorded"`
	Walked   Mark   `json:"walked"`
	// Suspect lists the references of found-live records that nobody has corrected.
	Suspect []string `json:"suspect,omitempty"`
	// Mended is the latest correction of something found live on the drawing. No reading
	// from before it counts.
	Mended Mark `json:"mended"`
}

// State is everything the rules need, and nothing more. Fields are exported for
// serialisation. Only Apply may change them.
type State struct {
	Format   int                    `json:"format"`
	Ledger   string                 `json:"ledger"` // hex; empty before the founding
	Coop     string                 `json:"coop"`
	Ruleset  uint32                 `json:"ruleset"`
	Time     int64                  `json:"time"`
	Tree     seal.Edge              `json:"tree"`
	Yards    map[string]*Yard       `json:"yards"`
	People   map[string]*Person     `json:"people"`
	Keys     map[string]*Key        `json:"keys"` // by fingerprint
	Invites  map[string]*Invitation `json:"invites"`
	Padlocks map[string]*Padlock    `json:"padlocks"`
	Points   map[string]*Point      `json:"points"`
	Boxes    map[string]*Box        `json:"boxes"`
	Drawings map[string]*Drawing    `json:"drawings"`           // by yard
	Reach    map[string][]string    `json:"reach"`              // zone -> points that may reach its place; only narrowZone takes points out
	Narrowed map[string]Mark        `json:"narrowed,omitempty"` // zone -> when narrowZone last took points out
	// Meant lists, for every zone name on any drawing so far, the nodes that it exposed
	// people to. The value says whether by grain, air or a chemical. It only grows.
	Meant                  map[string]map[string]bool        `json:"meant,omitempty"`
	Jobs                   map[string]*Job                   `json:"jobs"`
	Holds                  map[string]*Hold                  `json:"holds"`
	SignOns                map[string]*SignOn                `json:"sign_ons"`
	Reqs                   map[string]*Request               `json:"requests"`
	Tickets                map[string]*TicketState           `json:"tickets"`
	UnacknowledgedRemovals map[string]*UnacknowledgedRemoval `json:"unacknowledged_removals,omitempty"` // by hold
	Started                map[string]*Started               `json:"started,omitempty"`                 // without the ledger, by reference
	Troubles               map[string]*Trouble               `json:"troubles,omitempty"`                // of padlocks, by serial and kind
	Chokes                 map[string]*Choke                 `json:"chokes,omitempty"`                  // not dug out, by reference
	Procs                  map[string]*Procedure             `json:"procedures,omitempty"`              // by zone
	Required               map[string]*Required              `json:"required,omitempty"`                // yard -> since when jobs need a procedure
	Used                   map[string]map[string]Mark        `json:"used,omitempty"`                    // zone -> who used its procedure last when
	Exchanges              map[string]*Exchange              `json:"exchanges,omitempty"`               // by yard and outside employer
	// These are the permits for bin entry and hot work, by id, and what they rest on:
	// tests of the air by job, and watches and uncleared fumigations by reference.
	WorkPermits map[string]*WorkPermit `json:"work_permits,omitempty"`
	Air         map[string]*Air        `json:"air,omitempty"`
	Watches     map[string]*Watch      `json:"watches,omitempty"`
	Fumigations map[string]*Fumigation `json:"fumigations,omitempty"`

	Alarms []Alarm  `json:"alarms,omitempty"`
	Ended  []ending `json:"ended,omitempty"`

	active     map[string]*Hold               // the active ones of Holds; derived
	inside     map[string]*SignOn             // the sign-ons that are not signed off; derived
	graph      *energy.Graph                  // the current drawings joined; derived
	verdicts   map[string]energy.Verdict      // job -> does its plan isolate; derived
	proofs     map[string][]energy.Proof      // job -> readings required; derived
	stores     map[string][]energy.Store      // job -> stores to release; derived
	exceptions map[string][]*recordv1.Finding // attested job -> computed conditions that fail; derived
	places     map[string]*place              // by zone name, past ones included; derived
}

// Alarm is something that everybody must see.
type Alarm struct {
	Code    string `json:"code"`
	Subject string `json:"subject"`
	// Finding is what the alarm says.
	Finding *recordv1.Finding `json:"finding,omitempty"`
	At      Mark              `json:"at"`
}

type ending struct {
	Index uint64 `json:"index"`
	Kind  string `json:"kind"`
	Key   string `json:"key"`
}

// New returns the state before the founding entry.
func New() *State {
	return &State{
		Format: StateFormat, Ruleset: 1,
		Yards: map[string]*Yard{}, People: map[string]*Person{}, Keys: map[string]*Key{},
		Invites: map[string]*Invitation{}, Padlocks: map[string]*Padlock{}, Points: map[string]*Point{},
		Boxes: map[string]*Box{}, Drawings: map[string]*Drawing{}, Reach: map[string][]string{}, Narrowed: map[string]Mark{}, Meant: map[string]map[string]bool{},
		Jobs: map[string]*Job{}, Holds: map[string]*Hold{}, SignOns: map[string]*SignOn{},
		Reqs: map[string]*Request{}, Tickets: map[string]*TicketState{},
		UnacknowledgedRemovals: map[string]*UnacknowledgedRemoval{}, Started: map[string]*Started{}, Troubles: map[string]*Trouble{}, Chokes: map[string]*Choke{},
		WorkPermits: map[string]*WorkPermit{}, Air: map[string]*Air{}, Watches: map[string]*Watch{}, Fumigations: map[string]*Fumigation{},
		Procs: map[string]*Procedure{}, Required: map[string]*Required{}, Used: map[string]map[string]Mark{}, Exchanges: map[string]*Exchange{},
		active: map[string]*Hold{}, inside: map[string]*SignOn{},
	}
}

// Size is the number of entries applied. It is the index of the next entry.
func (s *State) Size() uint64 { return s.Tree.Size }

// Root is the RFC 6962 root of all entries applied.
func (s *State) Root() [32]byte { return s.Tree.Root() }

// LedgerID is the ledger's id, nil before the founding.
func (s *State) LedgerID() []byte {
	b, err := hex.DecodeString(s.Ledger)
	if err != nil || len(b) == 0 {
		return nil
	}
	return b
}

// AppendCanonical appends the serialised state. The same state gives the same bytes on
// every replica, because encoding/json sorts map keys and keeps field order. Snapshots
// hold these bytes.
func (s *State) AppendCanonical(b []byte) []byte {
	out, err := json.Marshal(s)
	if err != nil {
		// A State holds no value that JSON cannot write. Floats are checked on entry.
		return append(b, []byte(err.Error())...)
	}
	return append(b, out...)
}

// Restore reads what AppendCanonical wrote.
func Restore(b []byte) (*State, error) {
	s := New()
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(s); err != nil {
		return nil, fmt.Errorf("the saved state can't be read: %w", err)
	}
	if s.Format > StateFormat {
		return nil, fmt.Errorf("the saved state has format %d, this release knows %d: %w", s.Format, StateFormat, ErrNewer)
	}
	if err := s.Tree.Check(); err != nil {
		return nil, fmt.Errorf("the saved state's tree is broken: %w", err)
	}
	for ref, h := range s.Holds {
		if h.Active() {
			s.active[ref] = h
		}
	}
	for ref, so := range s.SignOns {
		if !so.Off.Set() {
			s.inside[ref] = so
		}
	}
	if err := s.redraw(); err != nil {
		return nil, err
	}
	return s, nil
}

// redraw rebuilds everything that is derived from the drawings.
func (s *State) redraw() error {
	var ds []*recordv1.Drawing
	for _, y := range sorted(s.Drawings) {
		d, err := s.Drawings[y].Drawing()
		if err != nil {
			return err
		}
		ds = append(ds, d)
	}
	g, probs := energy.Build(ds)
	if g == nil {
		return fmt.Errorf("the drawings don't fit together: %s: %s", probs[0].Field, probs[0].Text)
	}
	s.graph = g
	s.joinPlaces()
	s.verdicts, s.proofs, s.stores = map[string]energy.Verdict{}, map[string][]energy.Proof{}, map[string][]energy.Store{}
	s.exceptions = map[string][]*recordv1.Finding{}
	for _, id := range sorted(s.Jobs) {
		s.redrawJob(s.Jobs[id])
	}
	return nil
}

func (s *State) redrawJob(j *Job) {
	if j.Closed.Set() {
		delete(s.verdicts, j.ID)
		delete(s.proofs, j.ID)
		delete(s.stores, j.ID)
		delete(s.exceptions, j.ID)
		return
	}
	if j.Exception.By.Set() {
		s.exceptions[j.ID] = s.failingConditions(j)
	}
	v, errV := s.graph.Examine(j.Zone, j.Plan, recordv1.Isolation_ISOLATION_UNSPECIFIED)
	proofs, errP := s.graph.Proofs(j.Zone, j.Plan...)
	stores, errS := s.graph.Stores(j.Zone, j.Plan)
	if errV != nil || errP != nil || errS != nil {
		// The zone or a plan point left the drawing. An empty list must never read as
		// "nothing to prove", so the plan counts as isolating nothing.
		v = energy.Verdict{}
	}
	s.verdicts[j.ID], s.proofs[j.ID], s.stores[j.ID] = v, proofs, stores
}

// Graph returns the joined graph of the current drawings. Callers must not change it.
func (s *State) Graph() *energy.Graph {
	if s.graph == nil {
		g, _ := energy.Build(nil)
		return g
	}
	return s.graph
}

// Drawing decodes the published bytes.
func (d *Drawing) Drawing() (*recordv1.Drawing, error) {
	var m recordv1.Drawing
	if err := proto.Unmarshal(d.Bytes, &m); err != nil {
		return nil, fmt.Errorf("drawing of %s can't be read: %w", d.Yard, err)
	}
	return &m, nil
}

// KeyOf returns the registry entry of a public key, or nil when it is unknown.
func (s *State) KeyOf(public []byte) *Key { return s.Keys[seal.Fingerprint(public)] }

// LiveKey returns the live key of a person or yard, or nil when there is none.
func (s *State) LiveKey(person string) *Key {
	for _, f := range sorted(s.Keys) {
		if k := s.Keys[f]; k.Person == person && person != "" && k.Revoked == 0 {
			return k
		}
	}
	return nil
}

func sorted[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
