package yard

import (
	"bytes"
	"fmt"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// link is the ledger after one more committed entry. Worlds share links: a
// yard's view is the link that it has applied up to, so it is the committed
// prefix by construction; deterministic checks that Apply gives it again.
type link struct {
	s    *ledger.State
	n    int // entries since the start of the exploration
	up   *link
	e    *ledger.Entry
	out  *recordv1.Outcome
	abs  [16]byte
	next map[*ledger.Entry]*link // nil value: the entry changes nothing
}

// explorer searches one configuration.
type explorer struct {
	b       *bounds
	w       *world
	now     int64
	size    uint64 // ledger size at the start
	yards   []string
	box     string
	points  []string // a bit each
	home    []int8   // their home yards
	entries map[string]*ledger.Entry
	signed  map[string][]byte
	acts    acts
	names   map[string]string // public key -> name
	base    *link
	links   int
	replays int
	cuts    map[string][]Record // journals without their last record, as their files opened; nil: refused
	memo    bool
}

func newExplorer(w *world, b *bounds) *explorer {
	x := &explorer{b: b, w: w, now: w.now, size: w.s.Size(), yards: []string{"eastfork", "millrow"}, points: []string{leg, belt}, home: []int8{0, 1},
		box: box, entries: map[string]*ledger.Entry{}, signed: map[string][]byte{}, acts: acts{}, names: map[string]string{}, cuts: map[string][]Record{}, memo: true}
	if b.third {
		x.yards, x.box = append(x.yards, "stonebend"), shed
	}
	for _, n := range []string{"mia", "ines", "wanda", "walt"} {
		x.names[string(public(n))] = n
	}
	x.base = &link{s: w.s, next: map[*ledger.Entry]*link{}}
	x.base.abs = x.stateKey(w.s)
	return x
}

func (x *explorer) bit(p string) uint8 {
	if i := slices.Index(x.points, p); i >= 0 {
		return 1 << i
	}
	return 0
}

func (x *explorer) mask(points []string) (m uint8) {
	for _, p := range points {
		m |= x.bit(p)
	}
	return m
}

// entry decodes an entry once; Apply only reads it.
func (x *explorer) entry(raw []byte, at int64) *ledger.Entry {
	k := fmt.Sprint(at) + string(raw)
	if e := x.entries[k]; e != nil {
		return e
	}
	stamped, err := ledger.Stamp(raw, at)
	if err != nil {
		x.w.t.Fatal(err)
	}
	e, err := ledger.Decode(stamped)
	if err != nil {
		x.w.t.Fatal(err)
	}
	x.entries[k] = e
	return e
}

func (x *explorer) journaled(r Record) *ledger.Entry {
	if e := x.entries[string(r.Sealed)]; e != nil {
		return e
	}
	e := x.entry(ledger.JournalEntry(r.Sealed), x.now)
	x.entries[string(r.Sealed)] = e
	return e
}

// try applies an entry to a copy of the ledger at l.
func (x *explorer) try(l *link, e *ledger.Entry) *link {
	s := l.s.Clone()
	out := s.Apply(e)
	return &link{s: s, n: l.n + 1, up: l, e: e, out: out, abs: x.stateKey(s), next: map[*ledger.Entry]*link{}}
}

// commit is l with one more entry, nil when the entry has no effect on what the
// rules see: then the world is the same as before.
func (x *explorer) commit(l *link, e *ledger.Entry) *link {
	if n, known := l.next[e]; known {
		return n
	}
	n := x.try(l, e)
	if n.abs == l.abs {
		n = nil
	}
	if x.memo {
		l.next[e] = n
	}
	if n != nil {
		if x.links++; x.links%500 == 0 {
			x.deterministic(n)
		}
	}
	return n
}

// accepted is commit for a direct entry that is sent only when it will be taken.
func (x *explorer) accepted(l *link, e *ledger.Entry) *link {
	if n := x.commit(l, e); n != nil && n.out.GetAccepted() {
		return n
	}
	return nil
}

// at is the link that l had n entries in.
func (l *link) at(n int) *link {
	for l.n > n {
		l = l.up
	}
	return l
}

// deterministic applies the whole way to l again, from the bytes and from a
// restored state, and compares: copies shared nothing, Apply is a function.
func (x *explorer) deterministic(l *link) {
	x.replays++
	s, err := ledger.Restore(x.base.s.AppendCanonical(nil))
	if err != nil {
		x.w.t.Fatal(err)
	}
	for n := 1; n <= l.n; n++ {
		e, err := ledger.Decode(bytes.Clone(l.at(n).e.Raw()))
		if err != nil {
			x.w.t.Fatal(err)
		}
		s.Apply(e)
	}
	if !bytes.Equal(s.AppendCanonical(nil), l.s.AppendCanonical(nil)) {
		x.w.t.Errorf("configuration %s: the same %d entries give another state when applied again", x.b.name, l.n)
	}
}
