package yard

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// misfortune: what happens to a yard's disk, and to switches meanwhile.
func (x *explorer) misfortune(s *sit, t *seat, do emit) {
	b := x.b
	if s.tip.s.Yards[t.id].Epoch > t.h.Epoch && !b.alive {
		return
	}
	if int(s.n.losses) < b.losses && !t.lost(s.tip) && len(t.soft) == 0 {
		n := *s
		n.n.losses++
		n.gone[t.no] = append(slices.Clone(n.gone[t.no]), t.disk...)
		n.seats[t.no] = x.newDisk(t, int(n.n.losses))
		do(t.id+" loses its disk and gets a fresh one", &n, "")
	}
	if int(s.n.shortens) < b.shortens && !t.lost(s.tip) && len(t.disk) > 0 && len(t.soft) == 0 {
		n := *s
		n.n.shortens++
		n.gone[t.no] = append(slices.Clone(n.gone[t.no]), t.disk[len(t.disk)-1])
		if to := x.shortened(t, s.tip); to != nil {
			n.seats[t.no] = to
			do(t.id+" comes back without the last record of its journal", &n, "")
		} else {
			n.gone[t.no] = append(slices.Clone(s.gone[t.no]), t.disk...)
			n.seats[t.no] = x.newDisk(t, 5+int(n.n.shortens))
			do(t.id+" finds the last record of its journal gone and gets a fresh disk", &n, "")
		}
	}
	// An older image of the disk, beside a ledger that is up to date: what the image
	// lacks is in the ledger. With an older ledger no machine could tell.
	if int(s.n.images) < b.images && !t.lost(s.tip) && len(t.soft) == 0 && t.view.n == s.tip.n {
		for k := range t.disk {
			if k > 0 && len(s.gone[t.no]) > 0 || len(t.undrained(s.tip)) > 0 {
				continue
			}
			n := *s
			n.n.images++
			short := *t
			short.disk, short.back = t.disk[:k:k], map[*link]*seat{}
			n.seats[t.no] = x.restart(&short, s.tip)
			do(fmt.Sprintf("%s comes back with an older image of its disk, of %d records", t.id, k), &n, "")
		}
	}
	if int(s.n.rogues) < b.rogues && t.lost(s.tip) {
		for p := range x.points {
			if m := uint8(1) << p; x.home[p] == t.no && s.phys&m == 0 {
				n := *s
				n.n.rogues++
				n.phys |= m
				n.rogue |= m
				do("somebody closes "+x.points[p]+" while its yard has no journal", &n, "")
			}
		}
	}
	x.copied(s, t, do)
}

// newDisk is a machine with an empty disk and a key nobody has used; what it has
// of the ledger makes no difference before its recovery is in it.
func (x *explorer) newDisk(t *seat, i int) *seat {
	name := fmt.Sprintf("%s disk %d", t.id, i)
	if to := t.fresher[name]; to != nil {
		return to
	}
	h := Header{Ledger: t.h.Ledger, Yard: t.id, Epoch: 1, Incarnation: fingerprint(name)}
	y, err := New(h, keyOf(name), nil, fmt.Sprint("run", t.runs+1))
	if err != nil {
		x.w.t.Fatal(err)
	}
	to := &seat{no: t.no, id: t.id, keyName: name, h: h, y: y, runs: t.runs + 1}
	to = x.show(to.fresh(), t.view)
	if x.memo {
		t.fresher[name] = to
	}
	return to
}

// beginEpoch puts the journal of the epoch that the ledger gave this disk's key in
// the place of an empty one, as the replica does.
func (x *explorer) beginEpoch(t *seat, l *link) {
	me := l.s.Yards[t.id]
	if len(t.disk) > 0 || len(t.soft) > 0 || t.h.Compacted > 0 || me.Drained > 0 || me.Epoch <= t.h.Epoch || !bytes.Equal(me.Key, public(t.keyName)) {
		return
	}
	t.h.Epoch, t.h.RaftIndex = me.Epoch, x.raft(l)
	y, err := New(t.h, keyOf(t.keyName), nil, fmt.Sprint("run", t.runs, "-", me.Epoch))
	if err != nil {
		x.w.t.Fatal(err)
	}
	t.y = y
}

// shortened writes a seat's journal to a real file, takes its last record away,
// and opens it again; nil when the file is refused (decisions.md 7).
func (x *explorer) shortened(t *seat, tip *link) *seat {
	k := fmt.Sprintf("%d %x", len(t.disk), ledger.EnvelopeHash(t.disk[len(t.disk)-1].Sealed))
	records, known := x.cuts[k]
	if !known {
		records = x.cut(t)
		x.cuts[k] = records
	}
	if records == nil {
		return nil
	}
	short := *t
	short.disk, short.back = records, map[*link]*seat{}
	return x.restart(&short, tip.at(min(x.floor(&short), t.view.n)))
}

func (x *explorer) cut(t *seat) []Record {
	check := func(err error) {
		if err != nil {
			x.w.t.Fatal(err)
		}
	}
	dir, err := os.MkdirTemp(x.w.t.TempDir(), "journal")
	check(err)
	f, err := create(dir, t.h, 4096)
	check(err)
	check(f.Append(t.disk[:len(t.disk)-1]...))
	end := f.end
	check(f.Append(t.disk[len(t.disk)-1]))
	check(f.Close())
	check(os.Truncate(filepath.Join(dir, journalName), end))
	f, records, err := open(dir, t.h, 4096)
	var short *ShortenedError
	if errors.As(err, &short) {
		return nil
	}
	check(err)
	check(f.Close())
	return slices.Grow(records, 1)
}

// copied: a machine started from a copy of a yard's disk writes down that it
// confirms a request (decisions.md 1).
func (x *explorer) copied(s *sit, t *seat, do emit) {
	if int(s.n.twins) >= x.b.twins || t.id != "eastfork" || len(t.soft) > 0 || !t.serving() {
		return
	}
	for _, id := range sorted(s.tip.s.Reqs) {
		if s.tip.s.Reqs[id].State != recordv1.RequestState_REQUEST_STATE_AWAITING {
			continue
		}
		twin := t.fresh()
		twin.y.view, twin.y.applied = s.tip.s, x.raft(s.tip)
		env := twin.y.envelope(x.now + 1)
		env.Grant = recordv1.Grant_GRANT_NONE
		env.Body = &recordv1.Envelope_Fence{Fence: &recordv1.Fence{Request: id}}
		raw, _, err := sealEnvelope(keyOf(t.keyName), env)
		if err != nil {
			x.w.t.Fatal(err)
		}
		n := *s
		n.n.twins++
		n.twin = &Record{Sealed: raw, Envelope: env}
		do("a machine started from a copy of eastfork's disk confirms request "+id, &n, "")
	}
}

// unnoticed: the ledger has one of two records for a place, has now got the other,
// and nothing came of it.
func (x *explorer) unnoticed(s *sit, t *seat, r Record) bool {
	y := s.tip.s.Yards[t.id]
	if s.twin == nil || r.Envelope.GetYard() != s.twin.Envelope.GetYard() || y.Cloned || r.Envelope.GetEpoch() != y.Epoch || r.Envelope.GetSeq() > y.Drained {
		return false
	}
	i := len(y.Hashes) - 1 - int(y.Drained-r.Envelope.GetSeq())
	return i >= 0 && y.Hashes[i] != fmt.Sprintf("%x", ledger.EnvelopeHash(r.Sealed))
}

// recovery: two managers walk down a yard that has a fresh disk, or one whose old
// machine runs still.
func (x *explorer) recovery(s *sit, do emit) {
	for i := range x.yards {
		t := s.seats[i]
		if t.lost(s.tip) && !s.n.alive {
			for _, second := range []string{"ines", "walt"} {
				n, out := x.walkdown(s, t, second)
				if n == nil {
					continue
				}
				bad := x.kept(s, n)
				if bad == "" && second == "walt" {
					bad = "a yard was recovered on the word of walt, who is no manager"
				}
				if bad == "" && s.present(second).root != second {
					bad = "a yard was recovered with a key that one of the two managers had given the other"
				}
				if bad == "" && !out.GetAccepted() {
					bad = "a recovery changed the ledger and was refused"
				}
				do(fmt.Sprintf("mia and %s walk down %s and recover it", second, t.id), n, bad)
			}
		}
		if x.b.alive && !s.n.alive && t.id == "eastfork" {
			r := &recordv1.RecoverYard{Yard: t.id, Second: "ines", Epoch: t.h.Epoch + 1, Key: public("eastfork disk 9"), Address: "localhost:9"}
			l := x.accepted(s.tip, x.entry(ledger.DirectEntry(x.recoverySigned(r, "ines", "ines", "eastfork disk 9")), x.now))
			if l != nil {
				n := *s
				n.tip, n.n.alive = l, true
				do("eastfork is recovered while its old machine runs, cut off", &n, x.kept(s, &n))
			}
		}
		if s.n.alive && t.id == "eastfork" {
			if l := x.commit(s.tip, x.forged(s.tip, "eastfork disk 9")); l != nil {
				n := *s
				n.tip = l
				do("eastfork's new machine confirms r0", &n, x.kept(s, &n))
			}
		}
	}
}

func (x *explorer) recoverySigned(r *recordv1.RecoverYard, second, key, disk string) []byte {
	return x.sign(fmt.Sprint("recover ", key, r), fmt.Sprintf("recover-%s-%d-%s", r.GetYard(), r.GetEpoch(), second), "mia", func(rec *recordv1.Record) {
		rec.Act = &recordv1.Record_RecoverYard{RecoverYard: r}
	}, "mia", key, disk)
}

// walked is what a walkdown finds, with the claims that its locks and people are.
type walked struct {
	r             *recordv1.RecoverYard
	locks, people []int
}

// walkdown enters what hangs at the yard and is not in the ledger, which handles
// are closed, and who is inside; whatever was told to whom counts on under its new
// reference.
func (x *explorer) walkdown(s *sit, t *seat, second string) (*sit, *recordv1.Outcome) {
	w := x.walkRound(s, t)
	w.r.Second = second
	l := x.commit(s.tip, x.entry(ledger.DirectEntry(x.recoverySigned(w.r, second, s.present(second).name, t.keyName)), x.now))
	if l == nil || !l.out.GetAccepted() {
		return nil, nil
	}
	n := *s
	n.tip = l
	n.claims = slices.Clone(n.claims)
	for i := range n.claims { // what is neither in the ledger nor found is lost for good
		c := &n.claims[i]
		lost := ledger.YardOf(c.ref) == t.id && l.s.Holds[c.ref] == nil && l.s.SignOns[c.ref] == nil
		if lost && (c.points == 0 || !c.sent) && !slices.Contains(w.locks, i) && !slices.Contains(w.people, i) {
			c.over = true
		}
	}
	for k, i := range append(w.locks, w.people...) {
		c := &n.claims[i]
		c.ref, c.off = ledger.Ref(t.id, w.r.GetEpoch(), ledger.WalkedSeq+uint64(k)), 0
		c.root = s.present(c.who).root
	}
	for i, p := range x.points {
		if m := uint8(1) << i; !s.tip.s.Points[p].Live && l.s.Points[p].Live {
			n.rogueLive |= m
		}
	}
	return &n, l.out
}

// walkRound goes round the yard and sees what hangs, who is inside and what is closed.
func (x *explorer) walkRound(s *sit, t *seat) walked {
	w := walked{r: &recordv1.RecoverYard{Yard: t.id, Epoch: s.tip.s.Yards[t.id].Epoch + 1, Key: public(t.keyName), Address: "localhost:9", OldMachineOff: true}}
	for i := range s.claims {
		c := &s.claims[i]
		if c.over || !c.sent || ledger.YardOf(c.ref) != t.id {
			continue
		}
		switch {
		case c.signOn:
			j := s.tip.s.Jobs[c.target]
			if s.tip.s.SignOns[c.ref] == nil && (j == nil || ledger.YardOf(j.Zone) == t.id) {
				w.r.Inside = append(w.r.Inside, &recordv1.WalkedPerson{Person: c.who, Job: c.target})
				w.people = append(w.people, i)
			}
		case s.tip.s.Holds[c.ref] == nil && ledger.YardOf(c.target) == t.id:
			on := onPoint(c.target)
			if c.target == x.box {
				on = onBox(c.target)
			}
			w.r.Locks = append(w.r.Locks, &recordv1.WalkedLock{Target: on, Holder: c.who, Job: "jx", Seen: "red tag"})
			w.locks = append(w.locks, i)
		}
	}
	for p := range x.points {
		if x.home[p] == t.no && s.phys&(1<<p) != 0 {
			w.r.Closed = append(w.r.Closed, x.points[p])
		}
	}
	return w
}
