package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// emit takes one step: what happened, the situation after it, and what rule it
// broke, "" for none.
type emit func(act string, n *sit, bad string)

// steps gives everything that may happen next.
func (x *explorer) steps(s *sit, out emit) {
	do := func(act string, n *sit, bad string) {
		if bad == "" {
			bad = x.judge(n)
		}
		out(act, n, bad)
	}
	for i := range x.yards {
		t := s.seats[i]
		x.records(s, t, do)
		x.machine(s, t, do)
		if len(t.soft) == 0 && t.serving() {
			x.captures(s, t, do)
			x.starts(s, t, do)
		}
		x.closings(s, t, do)
		x.misfortune(s, t, do)
	}
	x.direct(s, do)
	x.several(s, do)
	x.recovery(s, do)
}

// records delivers journal records: the next one, and any other out of its turn
// or again.
func (x *explorer) records(s *sit, t *seat, do emit) {
	send := t.disk
	if len(t.soft) > 0 { // what is not durable, if the yard sends it all the same
		for _, r := range t.y.Pending() {
			if r.Envelope.GetSeq() > t.soft[0].Envelope.GetSeq()-1 {
				send = append(send[:len(send):len(send)], r)
			}
		}
	}
	send = append(send[:len(send):len(send)], s.gone[t.no]...)
	if s.twin != nil && s.twin.Envelope.GetYard() == t.id {
		send = append(send[:len(send):len(send)], *s.twin)
	}
	for _, r := range send {
		l := x.commit(s.tip, x.journaled(r))
		if l == nil {
			if x.unnoticed(s, t, r) {
				do("the ledger gets record "+refOfRecord(r)+" a second time, another one", s, "decision 1: two records for one place, and the yard is not stopped")
			}
			continue
		}
		n := *s
		n.tip = l
		bad := x.taken(s, &n, r)
		do("the ledger takes record "+refOfRecord(r)+" ("+x.about(r)+")", &n, bad)
	}
}

func (x *explorer) about(r Record) string {
	if f := r.Envelope.GetFence(); f != nil {
		return "its yard confirms request " + f.GetRequest()
	}
	rec := x.acts.of(r)
	return ledger.KindOf(rec) + " of " + rec.GetSigner()
}

// machine: applying, snapshots, losing power.
func (x *explorer) machine(s *sit, t *seat, do emit) {
	put := func(act string, to *seat) {
		n := *s
		n.seats[t.no] = to
		do(t.id+" "+act, &n, "")
	}
	if len(t.soft) > 0 {
		to := t.fresh()
		to.sync()
		n := *s
		n.seats[t.no] = to
		bad := ""
		for i := range n.claims {
			if c := &n.claims[i]; c.at == t.no && !c.sent {
				c = n.claim(i)
				c.sent = true
				bad = x.given(&n, to, c)
			}
		}
		do(t.id+" has it durable and answers", &n, bad)
	} else if t.view.n < s.tip.n {
		put("applies the next entry", x.show(t, s.tip.at(t.view.n+1)))
		if x.b.jumps && s.tip.n > t.view.n+1 {
			put("takes over the newest state whole", x.show(t, s.tip))
		}
	}
	if int(s.n.crashes) < x.b.crashes {
		for _, to := range slices.Compact([]int{0, min(x.floor(t), t.view.n)}) {
			n := *s
			n.n.crashes++
			n.seats[t.no] = x.restart(t, s.tip.at(to))
			bad := ""
			if to >= x.floor(t) && t.serving() && !n.seats[t.no].serving() {
				_, why := n.seats[t.no].y.Serving()
				bad = "decision 11: " + t.id + " comes back with all that its journal rests on, and can promise nothing: " + code.Brief(why)
			}
			n.claims = slices.DeleteFunc(slices.Clone(n.claims), func(c claim) bool { return c.at == t.no && !c.sent })
			for _, r := range t.soft { // nobody answered walt, so he opens it again
				m := x.bit(x.acts.of(r).GetFoundClosed().GetPoint())
				n.phys, n.rogue = n.phys&^m, n.rogue&^m
			}
			do(fmt.Sprintf("%s loses power and comes back with the ledger after %d entries", t.id, to), &n, bad)
		}
	}
	if x.b.compact && !s.n.compacted && t.serving() {
		if to := t.compact(); to != nil {
			n := *s
			n.n.compacted = true
			n.seats[t.no] = to
			do(t.id+" drops from its journal what the ledger has", &n, "")
		}
	}
}

// note captures a record at a seat, and gives the situation after it, nil when
// the yard would not write it down.
func (x *explorer) note(s *sit, t *seat, name string, signed []byte, run string) (*sit, *Reply) {
	m := x.capture(t, name, signed, run, x.b.torn && int(s.n.crashes) < x.b.crashes)
	if m.err != nil {
		return nil, nil
	}
	n := *s
	n.seats[t.no] = m.to
	return &n, m.reply
}

// claimed notes a lock or sign-on and what was promised for it.
func (x *explorer) claimed(n *sit, t *seat, r *Reply, c claim) string {
	c.ref, c.at, c.sent = r.Ref, t.no, len(n.seats[t.no].soft) == 0
	bad := ""
	if r.Grant == recordv1.Grant_GRANT_HELD_LOCALLY {
		c.points = x.mask(r.Promised)
		if len(r.Promised) == 0 {
			bad = "a promise of nothing was given"
		}
	} else if len(r.Promised) > 0 {
		bad = "points were promised without HELD_LOCALLY"
	}
	if c.signOn && r.Grant == recordv1.Grant_GRANT_HELD_LOCALLY && bad == "" {
		bad = x.promisedInside(n, n.seats[t.no])
	}
	n.claims = append(slices.Clone(n.claims), c)
	if c.sent && bad == "" {
		bad = x.given(n, n.seats[t.no], &c)
	}
	return bad
}

// again sends the same record to the same yard: nothing new may be written, and
// the answer is the recorded one (decisions.md 10).
func (x *explorer) again(t *seat, name string, signed []byte, r *Reply) string {
	m := x.capture(t, name, signed, "", true)
	if m.err != nil || !m.reply.Repeated || m.reply.Ref != r.Ref || m.reply.Grant != r.Grant || len(m.to.soft) != len(t.soft) {
		return "a record sent again was not answered as it was recorded"
	}
	return ""
}

// captures: what people record at a yard.
func (x *explorer) captures(s *sit, t *seat, do emit) {
	x.locks(s, t, do)
	x.signOns(s, t, do)
	x.signOffs(s, t, do)
	x.notes(s, t, do)
	x.trims(s, t, do)
	for p := range x.points {
		if x.home[p] == t.no || x.b.foreign {
			x.panel(s, t, int8(p), do)
		}
	}
	x.boxMoves(s, t, do)
}

// locks: the next person locks each target in turn, with each of their keys.
func (x *explorer) locks(s *sit, t *seat, do emit) {
	b, i := x.b, s.n.locks
	if int(i) >= b.locks {
		return
	}
	who := "wanda"
	if len(b.people) > 0 {
		who = b.people[int(i)%len(b.people)]
	}
	for _, at := range b.targets {
		x.lockOn(s, t, do, at, who)
	}
}

func (x *explorer) lockOn(s *sit, t *seat, do emit, at *recordv1.Target, who string) {
	b, i := x.b, s.n.locks
	what := at.GetPoint() + at.GetBox()
	name, dev := fmt.Sprintf("lock-%d %s", i, what), slot("lock", i)
	act := lockOf(at)
	if b.found {
		act = says("found-lock %s job=jx seen=\"red tag\"", at)
	}
	for j, k := range s.every(who) {
		name, dev, with := name, dev, ""
		if j > 0 {
			name, dev, with = name+" "+k.name, dev+"-"+k.name, " with the key "+k.name
		}
		signed := x.sign(name, dev, who, act, k.name)
		if n, r := x.note(s, t, name, signed, ""); n != nil {
			n.n.locks++
			c := claim{who: who, root: k.root, target: what, slot: i, fixed: b.found}
			if b.found {
				c.who = ""
			}
			bad := x.claimed(n, t, r, c)
			if bad == "" {
				bad = x.again(n.seats[t.no], name, signed, r)
			}
			do(fmt.Sprintf("%s writes down %s's lock %d on %s: %s%s", t.id, who, i, what, r.Grant, with), n, bad)
		}
	}
}

// signOns: wanda signs on to a zone.
func (x *explorer) signOns(s *sit, t *seat, do emit) {
	b, i := x.b, s.n.signs
	if int(i) >= b.signs {
		return
	}
	name, job := slot("on", i), "j2"
	if b.own {
		job = "j1"
	}
	signed := x.sign(name, name, "wanda", says("sign-on %s", job))
	if n, r := x.note(s, t, name, signed, ""); n != nil {
		n.n.signs++
		bad := x.claimed(n, t, r, claim{who: "wanda", root: "wanda", target: job, slot: 50 + i, signOn: true})
		if bad == "" {
			bad = x.again(n.seats[t.no], name, signed, r)
		}
		do(fmt.Sprintf("%s writes down that wanda signs on to the zone of %s: %s", t.id, job, r.Grant), n, bad)
	}
}

// trims: a zone is narrowed.
func (x *explorer) trims(s *sit, t *seat, do emit) {
	if int(s.n.trims) >= x.b.trims {
		return
	}
	signed := x.sign("trim", "trim", "mia", says("narrow-zone eastfork/pit %s", belt))
	if n, _ := x.note(s, t, "trim", signed, ""); n != nil {
		n.n.trims++
		do(t.id+" writes down that the belt reaches the pit no longer", n, "")
	}
}

// boxMoves: a key goes into the box or out of it.
func (x *explorer) boxMoves(s *sit, t *seat, do emit) {
	b := x.b
	if int(s.n.moves) >= b.moves || ledger.YardOf(x.box) != t.id && !b.foreign {
		return
	}
	for _, p := range b.boxPoints {
		for _, in := range []bool{true, false} {
			name := fmt.Sprintf("box-%d %v %s", s.n.moves, in, p)
			signed := x.sign(name, slot("box", s.n.moves), "walt", boxed(in, x.box, p))
			if n, _ := x.note(s, t, name, signed, t.y.Run(p)); n != nil {
				n.n.moves++
				do(fmt.Sprintf("%s writes down that the key of %s goes in (%v) or out of %s", t.id, p, in, x.box), n, "")
			}
		}
	}
}

// mayShow: the ledger, as the yard has it, took its last Energise of p. From then
// on an opening is done and sent in one (panel.go, Run).
func (x *explorer) mayShow(t *seat, p string) bool {
	at := t.view.s.Points[p]
	mine := false
	for _, r := range t.disk {
		if e := r.Envelope; x.acts.of(r).GetEnergise().GetPoint() == p && e.GetSeq() <= t.view.drained(t.id) {
			mine = e.GetSeq() == at.Moved.Seq
		}
	}
	return mine && at.Live && t.serving()
}

// panel: what is done and recorded at a point's own panel.
func (x *explorer) panel(s *sit, t *seat, p int8, do emit) {
	b, id, mask := x.b, x.points[p], uint8(1)<<p
	v := t.y.Panel(id)
	if int(s.n.isolates) < b.isolates && (t.view.s.Points[id].Live || s.phys&mask != 0 || s.tip.s.Points[id].Live) {
		name := fmt.Sprintf("open-%d %s %v", s.n.isolates, id, v.Moved)
		if n, _ := x.note(s, t, name, x.sign(name, slot("open", s.n.isolates), "wanda", movedAs("isolate", id, v)), v.Run); n != nil {
			n.n.isolates++
			n.phys &^= mask
			n.rogue &^= mask
			do(fmt.Sprintf("wanda opens %s and %s writes it down", id, t.id), n, "")
		}
	}
	if int(s.n.late) < b.late && s.kept == nil && !x.mayShow(t, id) {
		n := *s
		n.n.late++
		name := fmt.Sprintf("late-%d %s %v", s.n.late, id, v.Moved)
		n.kept = &kept{point: p, name: name, run: v.Run, signed: x.sign(name, slot("late", s.n.late), "wanda", movedAs("isolate", id, v))}
		n.phys &^= mask
		n.rogue &^= mask
		do(fmt.Sprintf("wanda opens %s and signs it, and does not send it yet", id), &n, "")
	}
	if k := s.kept; k != nil && k.point == p {
		if n, _ := x.note(s, t, k.name, k.signed, k.run); n != nil {
			n.kept = nil
			do(fmt.Sprintf("%s writes down the opening of %s that was signed before", t.id, id), n, "")
		}
	}
	if int(s.n.founds) < b.founds {
		name := fmt.Sprintf("found-%d %s", s.n.founds, id)
		signed := x.sign(name, slot("found", s.n.founds), "walt", says("found-closed %s", id))
		if n, _ := x.note(s, t, name, signed, ""); n != nil {
			n.n.founds++
			if n.phys&mask == 0 {
				n.rogue |= mask
			}
			n.phys |= mask
			do(fmt.Sprintf("somebody closed %s; walt finds it so and %s writes it down", id, t.id), n, "")
		}
	}
	if int(s.n.closes) < b.closes && s.phys&mask != 0 {
		name := fmt.Sprintf("closed-%d %s %v", s.n.closes, id, v.Moved)
		signed := x.sign(name, slot("closed", s.n.closes), "walt", movedAs("closed", id, v))
		if n, _ := x.note(s, t, name, signed, v.Run); n != nil {
			n.n.closes++
			do(fmt.Sprintf("%s writes down that walt closed %s", t.id, id), n, "")
		}
	}
	if int(s.n.bares) < b.bares && s.phys&mask == 0 {
		name := fmt.Sprintf("bare-%d %s %v", s.n.bares, id, v.Moved)
		signed := x.sign(name, slot("bare", s.n.bares), "walt", movedAs("closed", id, v))
		if n, _ := x.note(s, t, name, signed, v.Run); n != nil {
			n.n.bares++
			n.phys |= mask
			n.rogue |= mask
			do(fmt.Sprintf("walt closes %s with no go-ahead; %s writes down that he closed it", id, t.id), n, "")
		}
	}
	for r := range s.n.reqs {
		bit := uint16(1) << (int(r)*len(x.points) + int(p))
		if s.n.asked&bit != 0 || !slices.Contains(b.requests[r], id) {
			continue
		}
		name := fmt.Sprintf("energise-%d %s", r, id)
		if n, _ := x.note(s, t, name, x.sign(name, fmt.Sprintf("energise-%d-%d", r, p), "walt", energiseOf(fmt.Sprintf("r%d", r), id)), v.Run); n != nil {
			n.n.asked |= bit
			do(fmt.Sprintf("walt asks at the panel to energise %s under request r%d; %s writes it down", id, r, t.id), n, "")
		}
	}
}

func energiseOf(request, p string) func(*recordv1.Record) {
	return says("energise %s %s", request, p)
}
