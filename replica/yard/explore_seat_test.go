package yard

import (
	"bytes"
	"fmt"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// seat is one yard's replica with its disk. Seats are never changed: a step makes
// another one, and worlds share them.
type seat struct {
	no int8
	id string
	// keyName names the key of its disk.
	keyName string
	h       Header
	y       *Yard
	disk    []Record // what is durable, after h.Compacted
	soft    []Record // written, not yet durable
	view    *link
	runs    int

	moves   map[string]*move
	shown   map[*link]*seat
	back    map[*link]*seat  // restarted with the ledger up to there
	fresher map[string]*seat // with a fresh disk
	held    int16            // mask of points shown as open and held, -1 unknown
	go_     int16            // mask of points whose go-ahead is shown, -1 unknown
	key     []byte
	keyTip  *link
}

// move is what a step of a seat came to.
type move struct {
	to    *seat
	reply *Reply
	err   error
}

func (x *explorer) newSeat(no int8, st *site) *seat {
	s := &seat{no: no, id: st.id, keyName: st.id, h: st.h, y: st.y.Clone(), disk: st.disk}
	return x.show(s.fresh(), x.base)
}

// fresh is a seat with nothing remembered.
func (s *seat) fresh() *seat {
	c := *s
	c.y = s.y.Clone()
	c.moves, c.shown, c.back, c.fresher, c.go_, c.held, c.key, c.keyTip = map[string]*move{}, map[*link]*seat{}, map[*link]*seat{}, map[string]*seat{}, -1, -1, nil, nil
	return &c
}

func (x *explorer) raft(l *link) uint64 { return x.size + uint64(l.n) }

// show applies the ledger up to l at a yard; fences are written and synced.
func (x *explorer) show(s *seat, l *link) *seat {
	if to := s.shown[l]; to != nil {
		return to
	}
	to := s.fresh()
	to.view = l
	x.beginEpoch(to, l)
	to.take(to.y.View(l.s, x.raft(l), x.now), false)
	if x.memo {
		s.shown[l] = to
	}
	return to
}

// take makes the effects of a step durable, or leaves them torn.
func (s *seat) take(e Effects, torn bool) {
	if len(e.Append) == 0 {
		return
	}
	s.soft = append(s.soft[:len(s.soft):len(s.soft)], e.Append...)
	if !torn {
		s.sync()
	}
}

func (s *seat) sync() {
	if len(s.soft) == 0 {
		return
	}
	s.disk = append(s.disk[:len(s.disk):len(s.disk)], s.soft...)
	s.y.Appended(s.soft[len(s.soft)-1].Envelope.GetSeq())
	s.soft = nil
}

// capture sends signed bytes to a yard; name tells them apart.
func (x *explorer) capture(s *seat, name string, signed []byte, run string, torn bool) *move {
	k := fmt.Sprint(name, " ", run, torn)
	if m := s.moves[k]; m != nil {
		return m
	}
	m := &move{to: s.fresh()}
	now := x.now
	if x.b.fast {
		now = x.deadline(0) + 1
	}
	e, err := capture(m.to.y, signed, now, run)
	m.err = err
	if err == nil {
		m.reply = e.Reply
		m.to.take(e, torn)
	}
	if x.memo {
		s.moves[k] = m
	}
	return m
}

// restart loses all that is not on the disk, and comes back with the ledger up
// to l.
func (x *explorer) restart(s *seat, l *link) *seat {
	if to := s.back[l]; to != nil {
		return to
	}
	y, err := New(s.h, keyOf(s.keyName), s.disk, fmt.Sprint("run", s.runs+1))
	if err != nil {
		x.w.t.Fatalf("configuration %s: %s can't start again: %v", x.b.name, s.id, err)
	}
	to := &seat{no: s.no, id: s.id, keyName: s.keyName, h: s.h, y: y, disk: s.disk, runs: s.runs + 1}
	to = x.show(to.fresh(), l)
	if x.memo {
		s.back[l] = to
	}
	return to
}

// compact drops from the journal all that the ledger has.
func (s *seat) compact() *seat {
	h, keep, ok := s.y.compaction(s.y.drained())
	if !ok || h.Compacted == s.h.Compacted || len(s.soft) > 0 {
		return nil
	}
	to := s.fresh()
	to.y.Compacted(h)
	to.h, to.disk = h, keep
	return to
}

// goAheads is the mask of the points whose go-ahead the yard shows now.
func (x *explorer) goAheads(s *seat) uint8 {
	if s.go_ < 0 {
		s.go_ = 0
		for i, p := range x.points {
			if s.y.Panel(p).GoAhead {
				s.go_ |= 1 << i
			}
		}
	}
	return uint8(s.go_)
}

func (s *seat) serving() bool { ok, _ := s.y.Serving(); return ok }

// floor is the number of entries that the disk rests on.
func (x *explorer) floor(s *seat) int {
	f := s.h.RaftIndex
	if n := len(s.disk); n > 0 {
		f = max(f, s.disk[n-1].RaftIndex)
	}
	if f < x.size {
		return 0
	}
	return int(f - x.size)
}

// sign makes a person's record once. The device keeps its ticket apart; the name
// also tells what it holds apart. It is signed with the keys named, by their first
// one if none is.
func (x *explorer) sign(name, device, by string, set func(*recordv1.Record), keys ...string) []byte {
	if b := x.signed[name]; b != nil {
		return b
	}
	r := &recordv1.Record{Ledger: x.w.s.LedgerID(), Signer: by, CapturedUnixMs: x.now, Ticket: &recordv1.Ticket{Device: device, Counter: 1}}
	set(r)
	if len(keys) == 0 {
		keys = []string{by}
	}
	b := signWith(x.w.t, seal.RecordDomain, marshal(x.w.t, r), keys...)
	x.signed[name] = b
	return b
}

// acts holds the signed act of each journal record seen, nil for a fence.
type acts map[string]*recordv1.Record

func (a acts) of(r Record) *recordv1.Record {
	k := string(r.Sealed)
	if rec, ok := a[k]; ok {
		return rec
	}
	var s recordv1.Signed
	var rec *recordv1.Record
	if raw := r.Envelope.GetSigned(); raw != nil && proto.Unmarshal(raw, &s) == nil {
		rec = &recordv1.Record{}
		if proto.Unmarshal(s.GetBody(), rec) != nil {
			rec = nil
		}
	}
	a[k] = rec
	return rec
}

// drainedOf is how much of a disk's journal the ledger has.
func (l *link) drainedOf(s *seat) uint64 {
	y := l.s.Yards[s.id]
	if y.Epoch < s.h.Epoch || y.Epoch == s.h.Epoch && !bytes.Equal(y.Key, public(s.keyName)) {
		return 0
	}
	return y.Drained
}

// lost says that the ledger knows another disk as this yard's.
func (s *seat) lost(l *link) bool { return !bytes.Equal(l.s.Yards[s.id].Key, public(s.keyName)) }

// drained is how much of a yard's journal the ledger at l has.
func (l *link) drained(id string) uint64 {
	if y := l.s.Yards[id]; y != nil {
		return y.Drained
	}
	return 0
}

// undrained lists the records, durable or not, that the ledger at l lacks.
func (s *seat) undrained(l *link) []Record {
	all := s.disk
	if len(s.soft) > 0 {
		all = append(all[:len(all):len(all)], s.soft...)
	}
	if l.s.Yards[s.id].Epoch > s.h.Epoch {
		return nil
	}
	d := l.drainedOf(s)
	for i, r := range all {
		if r.Envelope.GetSeq() > d {
			return all[i:]
		}
	}
	return nil
}

func refOfRecord(r Record) string {
	return ledger.Ref(r.Envelope.GetYard(), r.Envelope.GetEpoch(), r.Envelope.GetSeq())
}
