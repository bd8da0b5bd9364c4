package yard

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"strings"

	"yardhasp/ledger"
)

// claim is what a person was told of a lock or sign-on of theirs.
type claim struct {
	ref    string
	signOn bool
	who    string // "" for a found lock that nobody has claimed
	root   string // the key that it was put on with (signer)
	target string // point or box, or the job signed on for
	slot   int8
	at     int8
	points uint8  // what stays off, by the reply; 0: no promise was given
	sent   bool   // the reply went out: it was durable
	over   bool   // its sign-off is in the ledger
	stood  bool   // its holder stood clear of it, by an entry of the ledger
	off    uint16 // yards where the sign-off is written, three bits for each key
	fixed  bool   // stays to the end
}

// standing is the mask of the points that the claim's owner counts on.
func (c *claim) standing() uint8 {
	if c.over || !c.sent || c.stood {
		return 0
	}
	return c.points
}

// counts is what of the bounds is used up.
type counts struct {
	locks, isolates, late, founds, closes, signs, moves, crashes, tells, reqs int8
	trims, bares                                                              int8
	compacted, revoked, widened, narrowed, trimmed, closed                    bool
	asked                                                                     uint16
	removals, handOvers, claims, reissues, replaces, starts                   int8
	losses, shortens, images, twins, rogues, stands                           int8
	alive                                                                     bool
}

// kept is an opening that was signed at a panel and not sent.
type kept struct {
	point  int8
	signed []byte
	name   string
	run    string
}

// sit is one situation of the whole co-op. It is never changed.
type sit struct {
	tip   *link
	seats [3]*seat
	// The switches: closed; closed by nobody the rules know; live in the ledger
	// only because one was found closed.
	phys, rogue, rogueLive uint8
	claims                 []claim
	n                      counts
	kept                   *kept
	keys                   []signer    // that came after each person's first, oldest first
	gone                   [3][]Record // of lost disks, under way still
	twin                   *Record     // what a machine with a copy of eastfork's disk wrote
}

func (s *sit) claim(i int) *claim {
	s.claims = slices.Clone(s.claims)
	return &s.claims[i]
}

func (x *explorer) first() *sit {
	s := &sit{tip: x.base}
	for i, id := range x.yards {
		s.seats[i] = x.newSeat(int8(i), x.w.yards[id])
	}
	for i, p := range x.points {
		if x.w.s.Points[p].Live {
			s.phys |= 1 << i
		}
	}
	for _, ref := range slices.Sorted(maps.Keys(x.w.s.Holds)) {
		h := x.w.s.Holds[ref]
		s.claims = append(s.claims, claim{ref: ref, who: h.Holder, root: h.Holder, target: h.Point, slot: int8(90 + len(s.claims)), at: x.home[slices.Index(x.points, h.Point)], points: x.bit(h.Point), sent: true, fixed: h.Point == leg || x.b.stands > 0 && !x.b.releases})
	}
	for _, words := range x.b.lead {
		var next *sit
		x.steps(s, func(act string, n *sit, bad string) {
			if next == nil && (strings.HasPrefix(act, words) || strings.HasSuffix(act, words)) {
				next = n
			}
		})
		if next == nil {
			x.w.t.Fatalf("configuration %s: no step %q can be taken: %v", x.b.name, words, s.tip.s.AgainstRequest("j1", 0, x.b.requests[0]))
		}
		s = next
	}
	return s
}

// key is the situation as far as it decides what may follow. Two that differ
// only in times, hashes and the order of entries that have nothing to do with
// each other share a key.
func (x *explorer) key(s *sit) [16]byte {
	from := s.tip.n
	for i := range x.yards {
		from = min(from, s.seats[i].view.n)
	}
	again := int(s.n.crashes) < x.b.crashes
	if again {
		from = 0
	}
	b := make([]byte, 0, 1024)
	for l := s.tip; ; l = l.up {
		b = append(b, l.abs[:]...)
		if l.n == from {
			break
		}
	}
	for i := range x.yards {
		t := s.seats[i]
		b = append(b, 0xfe, byte(t.view.n-from), bit01(t.serving()), byte(len(t.soft)), byte(t.h.Epoch))
		b = append(b, t.keyName...)
		for _, r := range s.gone[i] {
			if r.Envelope.GetEpoch() == s.tip.s.Yards[t.id].Epoch && r.Envelope.GetSeq() > s.tip.drained(t.id) {
				h := ledger.EnvelopeHash(r.Sealed)
				b = append(b, h[:8]...)
			}
		}
		if again || !t.serving() {
			b = append(b, byte(max(x.floor(t)-from, -1)))
		}
		b = append(b, x.seatKey(t, s.tip)...)
	}
	b = append(b, 0xfd, s.phys, s.rogue, s.rogueLive)
	for _, c := range s.claims {
		b = append(append(b, c.ref...), c.who...)
		b = append(append(b, c.root...), c.points, bit01(c.sent), bit01(c.over), bit01(c.fixed), bit01(c.stood), byte(c.off), byte(c.off>>8))
	}
	n := &s.n
	for _, v := range []int8{n.locks, n.isolates, n.late, n.founds, n.closes, n.signs, n.moves, n.crashes, n.tells, n.reqs,
		n.removals, n.handOvers, n.claims, n.reissues, n.replaces, n.starts, n.losses, n.shortens, n.images, n.twins, n.rogues, n.stands, n.trims, n.bares} {
		b = append(b, byte(v))
	}
	if s.twin != nil {
		h := ledger.EnvelopeHash(s.twin.Sealed)
		b = append(b, h[:8]...)
	}
	b = append(b, bit01(n.alive), bit01(n.compacted), bit01(n.revoked), bit01(n.widened), bit01(n.narrowed), bit01(n.trimmed), bit01(n.closed), byte(n.asked), byte(n.asked>>8))
	if k := s.kept; k != nil {
		b = append(b, k.name...)
		b = append(b, bit01(s.seats[x.home[k.point]].y.Run(x.points[k.point]) == k.run))
	}
	h := sha256.Sum256(b)
	return [16]byte(h[:16])
}

func bit01(v bool) byte {
	if v {
		return 1
	}
	return 0
}

func (x *explorer) seatKey(t *seat, tip *link) []byte {
	if t.keyTip == tip {
		return t.key
	}
	y := t.y
	var b []byte
	b = binary.AppendUvarint(b, y.h.Compacted)
	b = append(b, bit01(y.inside), bit01(y.broken != ""))
	for _, p := range slices.Sorted(maps.Keys(y.asked)) {
		b = append(append(append(b, p...), y.asked[p].Request...), byte(y.asked[p].At.Seq))
	}
	seen := t.view.drainedOf(t)
	for _, it := range y.journal {
		if it.seq > seen {
			b = x.itemKey(b, it, tip)
		}
	}
	t.keyTip, t.key = tip, b
	return b
}

func (x *explorer) itemKey(b []byte, it *item, tip *link) []byte {
	env := it.Envelope
	for _, w := range []string{it.kind, it.point, it.box, it.request, it.job, it.hold, it.signOn, it.ticket} {
		b = append(append(b, w...), '|')
	}
	b = append(b, x.mask(it.started), byte(it.seq), byte(env.GetGrant()), byte(it.moved.Seq), x.mask(env.GetPromised()))
	if y := tip.s.Yards[env.GetYard()]; y.Epoch > env.GetEpoch() || y.Epoch == env.GetEpoch() && it.seq <= y.Drained {
		return b
	}
	// What its writer knew of, where that counts.
	knows := func(m ledger.Mark) {
		if m.Yard != "" && m.Yard == env.GetYard() && m.Epoch == env.GetEpoch() {
			b = append(b, bit01(m.Seq < env.GetSeq()))
		} else {
			b = append(b, bit01(m.Index < env.GetBasedOn()))
		}
	}
	switch it.kind {
	case "fence":
		if q := tip.s.Reqs[it.request]; q != nil {
			knows(q.By)
		}
	case "clear_area", "notice":
		for _, id := range []string{"j1", "j2"} {
			j := tip.s.Jobs[id]
			for _, l := range []ledger.Latest{j.LastHold, j.LastOn, j.LastOff, j.Looked} {
				for _, y := range slices.Sorted(maps.Keys(l)) {
					b = append(b, y...)
					knows(l[y])
				}
			}
		}
	}
	return b
}

// before is mark m over before mark r, by the records.
func before(m, r ledger.Mark) bool {
	if m.Yard != "" && m.Yard == r.Yard && m.Epoch == r.Epoch {
		return m.Seq < r.Seq
	}
	return m.Index < r.BasedOn
}

// stateKey is what the rules of this exploration see of a ledger.
func (x *explorer) stateKey(s *ledger.State) (k [16]byte) {
	h := sha256.Sum256(x.meaning(make([]byte, 0, 1024), s))
	copy(k[:], h[:])
	return k
}

// told is the text of a state's meaning, in the making.
type told []byte

func (b *told) word(ws ...string) {
	for _, w := range ws {
		*b = append(append(*b, w...), '|')
	}
}

// meaning is all that the rules of this exploration see of a ledger, as text.
func (x *explorer) meaning(text []byte, s *ledger.State) []byte {
	b := told(text)
	x.meaningOfYards(&b, s)
	x.meaningOfHolds(&b, s)
	x.meaningOfRequests(&b, s)
	meaningOfJobs(&b, s)
	x.meaningOfPeople(&b, s)
	x.meaningOfTime(&b, s)
	return b
}

func (x *explorer) meaningOfYards(b *told, s *ledger.State) {
	for _, id := range x.yards {
		y := s.Yards[id]
		*b = append(binary.AppendUvarint(append(*b, 'y', byte(y.Epoch)), y.Drained), bit01(y.Cloned))
		*b = append(*b, y.Key[:4]...)
		if n := len(y.Hashes); n > 0 && x.b.twins > 0 {
			*b = append(*b, y.Hashes[n-1]...)
		}
	}
	for _, id := range x.points {
		p := s.Points[id]
		*b = append(binary.AppendUvarint(append(*b, 'p', bit01(p.Live)), p.Moved.Seq), byte(p.Moved.Epoch))
	}
}

func (x *explorer) meaningOfHolds(b *told, s *ledger.State) {
	b.word(sorted(s.Boxes[x.box].Points)...)
	for _, ref := range sorted(s.Holds) {
		h := s.Holds[ref]
		b.word(ref, h.Point, h.Box, h.Holder)
		*b = append(*b, bit01(h.Off.By == ""))
		if h.Off.By == "" {
			*b = append(*b, x.mayEnd(s, h.Holder, h.Since))
			q := s.Reqs[h.Stood]
			b.word(h.Stood)
			*b = append(*b, bit01(q != nil && h.StoodFor == q.By.Index))
		}
	}
	for _, ref := range sorted(s.SignOns) {
		so := s.SignOns[ref]
		b.word(ref, so.Job)
		*b = append(*b, bit01(so.Off.By == ""), x.mask(so.Promised))
		if so.Off.By == "" {
			*b = append(*b, x.mayEnd(s, so.Person, so.Since))
		}
	}
}

func (x *explorer) meaningOfRequests(b *told, s *ledger.State) {
	for _, id := range sorted(s.Reqs) {
		q := s.Reqs[id]
		b.word(id)
		*b = append(*b, byte(q.State), x.mask(q.Points), x.mask(q.Energised))
		b.word(q.Involved...)
		b.word(q.Attested...)
	}
}

// meaningOfJobs: whether the area was cleared and everybody told after the last who
// signed on, and so on; not when.
func meaningOfJobs(b *told, s *ledger.State) {
	for _, id := range []string{"j1", "j2", "jx"} {
		j := s.Jobs[id]
		if j == nil {
			b.word(id)
			continue
		}
		told := j.ToldAfter["abe"]
		ok := j.Cleared.By != ""
		for _, l := range []ledger.Latest{j.LastOn, j.LastHold} {
			for _, m := range l {
				ok = ok && before(m, j.Cleared)
			}
		}
		heard := told.By != ""
		for _, l := range []ledger.Latest{j.LastOff, j.LastHold} {
			for _, m := range l {
				heard = heard && before(m, told)
			}
		}
		*b = append(*b, bit01(ok), bit01(heard), bit01(len(j.LastOn)+len(j.LastHold)+len(j.Looked) > 0), bit01(j.Closed.By != ""), bit01(j.GroundsLeft != 0))
	}
}

func (x *explorer) meaningOfPeople(b *told, s *ledger.State) {
	*b = append(*b, 'k', bit01(revoked(s)))
	for _, f := range sorted(s.Keys) {
		if k := s.Keys[f]; k.Revoked == 0 && k.Person != "" {
			b.word(x.names[string(k.Public)])
		}
	}
	b.word(sorted(s.UnacknowledgedRemovals)...)
	for _, z := range sorted(s.Reach) {
		*b = append(*b, x.mask(s.Reach[z]))
	}
	for _, a := range s.Alarms {
		b.word(a.Code, a.Subject)
	}
}

// meaningOfTime: which tickets are used, and which deadlines have passed.
func (x *explorer) meaningOfTime(b *told, s *ledger.State) {
	var used []string
	for id := range s.Tickets {
		if x.base == nil || x.base.s == nil || x.base.s.Tickets[id] == nil {
			used = append(used, id[strings.IndexByte(id, ' ')+1:])
		}
	}
	slices.Sort(used)
	b.word(used...)
	for _, e := range []int64{x.deadline(0), x.deadline(1), x.deadline(2), x.deadline(3)} {
		*b = append(*b, bit01(s.Time >= e))
	}
}

// deadline of the request with a number; each later one is later. All stay within
// what a yard's clock may lag, so that no clock is in doubt.
func (x *explorer) deadline(n int) int64 { return x.now + int64(n+1)*10_000 }

func sorted[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func slot(what string, n int8) string { return fmt.Sprintf("%s-%d", what, n) }
