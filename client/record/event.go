package record

import (
	"slices"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Event is one entry of the ledger in words.
type Event struct {
	// Index is the ledger index, from 0.
	Index uint64 `json:"index,string"`
	// TimeUnixMs is the ledger's time. CapturedUnixMs is the signer's clock, 0 for an
	// entry that no person captured.
	TimeUnixMs     int64 `json:"time_unix_ms,string"`
	CapturedUnixMs int64 `json:"captured_unix_ms,string"`
	// ClockDoubt says that the yard could not trust its clock.
	ClockDoubt bool   `json:"clock_doubt"`
	Kind       string `json:"kind"`
	Signer     string `json:"signer"`
	Accepted   bool   `json:"accepted"`
	// Ref is the journal reference. It is empty for a direct entry.
	Ref string `json:"ref"`
	About
	// Details are the record's own fields, as signed.
	Details []Field `json:"details"`
	// Changes, Flags and Unmet say what the rules decided about the entry.
	Changes []Said `json:"changes"`
	Flags   []Said `json:"flags"`
	Unmet   []Said `json:"unmet"`

	// took: the ledger took a reading as one. What showed energy became something else,
	// found live.
	took bool
}

// About lists by name what an entry is about. Each list is sorted.
type About struct {
	People []string `json:"people"`
	Jobs   []string `json:"jobs"`
	// Points are isolation points and boxes.
	Points []string `json:"points"`
	// Locks are references of holds and serials of padlocks.
	Locks []string `json:"locks"`
	Yards []string `json:"yards"`
}

// Field is one field of a record.
type Field struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// State says how the entry stands: "accepted" or "refused".
func (e *Event) State() string {
	if e.Accepted {
		return "accepted"
	}
	return "refused"
}

func (a *About) add(b About) {
	for _, l := range []struct {
		to   *[]string
		from []string
	}{{&a.People, b.People}, {&a.Jobs, b.Jobs}, {&a.Points, b.Points}, {&a.Locks, b.Locks}, {&a.Yards, b.Yards}} {
		for _, v := range l.from {
			put(l.to, v)
		}
	}
}

// put keeps a list sorted and without repeats.
func put(list *[]string, v string) {
	if v == "" {
		return
	}
	if at, found := slices.BinarySearch(*list, v); !found {
		*list = slices.Insert(*list, at, v)
	}
}

// Hold is one lock in the history, from when it went on until it came off.
type Hold struct {
	Ref string `json:"ref"`
	// Holder is empty for a lock whose owner is not known.
	Holder  string   `json:"holder"`
	Target  string   `json:"target"`
	Covers  []string `json:"covers"`
	Padlock string   `json:"padlock"`
	Job     string   `json:"job"`
	// OnUnixMs and OffUnixMs are the earliest times that they can count for. OffUnixMs
	// is 0 while the lock is on.
	OnUnixMs  int64  `json:"on_unix_ms,string"`
	OffUnixMs int64  `json:"off_unix_ms,string"`
	How       string `json:"how"`
	// OffBy signed the record that ended it. OffWith also signed it, in a hand-over or a
	// removal.
	OffBy   string   `json:"off_by"`
	OffWith []string `json:"off_with"`

	// on and off are the events of its two ends. Filters use them.
	on, off *Event
}

// Collector turns entries into events, in order from the first entry.
type Collector struct {
	Events []*Event
	// Holds are in the order in which they went on.
	Holds []*Hold

	byRef  map[string]About
	jobs   map[string]About // yard of the zone and of the plan
	asked  map[string]About // requests
	holds  map[string]*Hold
	sheets *sheets
}

// NewCollector returns a collector that begins before the first entry.
func NewCollector() *Collector {
	return &Collector{byRef: map[string]About{}, jobs: map[string]About{}, asked: map[string]About{}, holds: map[string]*Hold{}, sheets: &sheets{zones: map[string]string{}}}
}

// Add takes the next entry, its outcome and the state after it. It keeps nothing of the
// state.
func (c *Collector) Add(e *ledger.Entry, out *recordv1.Outcome, s *ledger.State) {
	ev := &Event{Index: out.GetIndex(), TimeUnixMs: out.GetTimeUnixMs(), Kind: out.GetKind(), Signer: out.GetSigner(), Accepted: out.GetAccepted(), Ref: out.GetRef(),
		Changes: saidOf(out.GetDid()), Details: []Field{}, Flags: saidOf(out.GetFlags()), Unmet: saidOf(out.GetConditions()),
		About: About{[]string{}, []string{}, []string{}, []string{}, []string{}}, took: code.Has(out.GetDid(), ledger.ReadingTaken)}
	if s.People[ev.Signer] != nil {
		put(&ev.People, ev.Signer)
	}
	if rec := e.Record(); rec != nil {
		ev.CapturedUnixMs = rec.GetCapturedUnixMs()
		c.read(ev, rec, s)
	}
	if env := e.Envelope(); env != nil {
		ev.ClockDoubt = env.GetClockDoubt()
		if r := env.GetFence().GetRequest(); r != "" {
			ev.Details = append(ev.Details, Field{"request", r})
			ev.add(c.asked[r])
		}
		if len(ev.Yards) == 0 {
			put(&ev.Yards, env.GetYard())
		}
	}
	c.settle(ev, e.Record(), s)
	c.sheets.add(ev, e.Record(), s)
	c.Events = append(c.Events, ev)
}

// settle remembers what later entries may refer to.
func (c *Collector) settle(ev *Event, rec *recordv1.Record, s *ledger.State) {
	if ev.Accepted {
		refs := append(refsIn(rec), ev.Ref)
		if rec.GetRecoverYard() != nil {
			for ref := range s.Holds {
				refs = append(refs, ref)
			}
			slices.Sort(refs)
		}
		for _, ref := range refs {
			c.hold(ev, ref, rec, s)
		}
	}
	if ev.Ref != "" {
		c.byRef[ev.Ref] = ev.About
	}
}

// hold notes how a hold stands after an entry that named it.
func (c *Collector) hold(ev *Event, ref string, rec *recordv1.Record, s *ledger.State) {
	h := s.Holds[ref]
	if h == nil {
		return
	}
	v := c.holds[ref]
	if v == nil {
		v = &Hold{Ref: ref, Target: h.Target(), Covers: append([]string{}, s.Covers(h)...), Padlock: h.Padlock, Job: h.Job, OnUnixMs: h.On.Time, OffWith: []string{}, on: ev}
		c.holds[ref], c.Holds = v, append(c.Holds, v)
	}
	v.Holder = h.Holder
	if !h.Active() && v.OffUnixMs == 0 {
		v.OffUnixMs, v.How, v.OffBy, v.off = h.Off.Time, words.English.Says(h.How), h.Off.By, ev
		with, _ := ledger.CountersignersOf(rec)
		v.OffWith = append(v.OffWith, with...)
	}
	about := About{}
	put(&about.Locks, ref)
	put(&about.Locks, h.Padlock)
	put(&about.People, h.Holder)
	put(&about.Jobs, h.Job)
	put(&about.Points, h.Target())
	put(&about.Yards, ledger.YardOf(h.Target()))
	for _, p := range v.Covers {
		put(&about.Points, p)
		put(&about.Yards, ledger.YardOf(p))
	}
	ev.add(about)
	ev.add(c.jobs[h.Job])
}
