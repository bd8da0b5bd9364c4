package yard

import (
	"encoding/hex"
	"fmt"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// closings: a switch is closed while its panel shows the go-ahead.
func (x *explorer) closings(s *sit, t *seat, do emit) {
	for p := range x.points {
		mask := uint8(1) << p
		if s.phys&mask == 0 && x.home[p] == t.no && x.goAheads(t)&mask != 0 {
			n := *s
			n.phys |= mask
			n.rogue &^= mask
			do(fmt.Sprintf("walt closes %s under the go-ahead that %s shows", x.points[p], t.id), &n, "")
		}
	}
}

// direct: what goes to the quorum straight.
func (x *explorer) direct(s *sit, do emit) {
	put := func(act string, e *ledger.Entry, set func(n *sit)) {
		if l := x.accepted(s.tip, e); l != nil {
			n := *s
			n.tip = l
			if set != nil {
				set(&n)
			}
			do(act, &n, x.kept(s, &n))
		}
	}
	by := func(name, device, who string, set func(*recordv1.Record), at int64) *ledger.Entry {
		return x.entry(ledger.DirectEntry(x.sign(name, device, who, set)), at)
	}
	for i := range x.b.requests {
		id := fmt.Sprintf("r%d", i)
		switch {
		case i == int(s.n.reqs):
			put(fmt.Sprintf("request %s for %v is taken", id, x.b.requests[i]), by(id, id, "mia", x.asks(id, i), x.now), func(n *sit) { n.n.reqs++ })
		case i < int(s.n.reqs):
			if x.b.expiry {
				put("request "+id+" expires", by("expire "+id, "expire-"+id, "eastfork", says("expire %s", id), x.deadline(i)), nil)
			}
			if x.b.withdraw {
				put("request "+id+" is withdrawn", by("withdraw "+id, "withdraw-"+id, "mia", says("withdraw %s", id), x.now), nil)
			}
		}
	}
	if x.b.widen && !s.n.widened {
		put("millrow's drawing is revised: the belt reaches eastfork's pit", by("widen", "widen", "mia", func(r *recordv1.Record) {
			d := millrowDrawing()
			d.Revision = 2
			r.Act = &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(x.w.t, d)}}
		}, x.now), func(n *sit) { n.n.widened = true })
	}
	if x.b.narrow && !s.n.narrowed {
		put("millrow's drawing is revised: nothing of it reaches eastfork's pit", by("narrow", "narrow", "mia", func(r *recordv1.Record) {
			d := millrowDrawing()
			d.Revision, d.Links = 2, d.Links[:1]
			r.Act = &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(x.w.t, d)}}
		}, x.now), func(n *sit) { n.n.narrowed = true })
	}
	if x.b.imposter {
		if l := x.commit(s.tip, x.forged(s.tip, "millrow")); l != nil {
			n := *s
			n.tip = l
			do("millrow's machine seals eastfork's word for r0, and the ledger takes it", &n, x.kept(s, &n))
		}
	}
	if x.b.revoke && !s.n.revoked {
		put("wanda's key is revoked", by("revoke", "revoke", "mia", says("revoke-key wanda wanda"), x.now), func(n *sit) { n.n.revoked = true })
	}
}

// asks is the act of a request of these bounds.
func (x *explorer) asks(id string, i int) func(*recordv1.Record) {
	return func(r *recordv1.Record) {
		says("request %s j1 %s %d", id, x.b.requests[i], x.deadline(i))(r)
		r.GetRequest().Kind = x.kind(i)
	}
}

// forged is eastfork's next record, a confirmation of r0, sealed by another disk.
func (x *explorer) forged(l *link, disk string) *ledger.Entry {
	y := l.s.Yards["eastfork"]
	env := &recordv1.Envelope{Ledger: l.s.LedgerID(), Yard: y.ID, Epoch: y.Epoch, Seq: y.Drained + 1, BasedOn: l.s.Size(), Grant: recordv1.Grant_GRANT_NONE,
		WrittenUnixMs: x.now, Body: &recordv1.Envelope_Fence{Fence: &recordv1.Fence{Request: "r0"}}}
	if n := len(y.Hashes); n > 0 {
		env.Previous, _ = hex.DecodeString(y.Hashes[n-1])
	}
	raw, _, err := sealEnvelope(keyOf(disk), env)
	if err != nil {
		x.w.t.Fatal(err)
	}
	return x.journaled(Record{Sealed: raw, Envelope: env})
}
