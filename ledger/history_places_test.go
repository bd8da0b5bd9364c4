package ledger_test

import (
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// placeActs concern chokes, drawings and zones.
func placeActs(add func(name string, every float64, act func(h *history, d deed))) {
	add("found choked", 92, func(h *history, d deed) {
		h.do(d.who, d.yard, actChoked(h.pick(zone, zone, room, motor, "stonebend/leg", "eastfork/unknown")))
	})
	add("clear choke", 31, func(h *history, d deed) {
		for _, ref := range slices.Sorted(maps.Keys(h.o.chokes)) {
			h.do(h.pick("mara", d.who), d.yard, actClearChoke(ref, h.rng.IntN(4) > 0))
			return
		}
	})
	add("redraw", 23, (*history).dutyRedraw)
	add("narrow", 23, (*history).dutyNarrow)
}

// dutyRedraw publishes the drawing of stonebend again with the next number, or has it
// walked: what it shows is the same, and it counts only once it is walked.
func (h *history) dutyRedraw(d deed) {
	if h.o.drawn["stonebend"] != "" && !h.o.walked["stonebend"] {
		h.walked(h.pick("ravi", "ravi", d.boss))
		return
	}
	if h.rng.IntN(4) == 0 {
		next := withMain(h.s.Drawings["stonebend"].Revision + 1)
		h.do(d.boss, "", &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: marshal(h.t, next)}}})
	}
}

func (h *history) walked(by string) {
	sum := []byte(h.o.drawn["stonebend"])
	h.do(by, "", &recordv1.Record{Act: &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: "stonebend", Revision: h.s.Drawings["stonebend"].Revision, DrawingHash: sum}}})
}

// rareActs happen seldom: a yard recovered, a key revoked, a request that runs out or
// is withdrawn, things registered, a small job opened and closed.
func rareActs(add func(name string, every float64, act func(h *history, d deed))) {
	add("remark", 40, func(h *history, d deed) { h.do(d.who, d.yard, actRemark(h.pick("boot-1", "boot-2", "none"))) })
	add("recover yard", 160, (*history).dutyRecovery)
	add("revoke key", 160, (*history).dutyRevoked)
	add("key out of the box", 160, func(h *history, d deed) {
		if len(h.o.box) > 0 {
			p := slices.Sorted(maps.Keys(h.o.box))[0]
			h.do("mara", "eastfork", actBoxRemove(p))
		}
	})
	add("request given up", 160, func(h *history, d deed) { h.givenUp(h.oneJob(), h.anyGivingUp()) })
	add("register things", 160, func(h *history, d deed) { h.registerThings(h.pick("mara", d.who), h.pick("mara", d.who)) })
	add("closed", 160, func(h *history, d deed) {
		p := h.pick(feeder, main1, control)
		m := h.s.Points[p].Moved
		h.do("mara", home(p), &recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{Point: p, Moved: &recordv1.Moved{Epoch: m.Epoch, Seq: m.Seq}}}})
	})
	add("small job", 80, func(h *history, d deed) {
		id := h.smallJob()
		if h.rng.IntN(2) == 0 {
			h.do(d.who, d.yard, actLock(main1, "", id))
			h.do("mara", "stonebend", actClear(id))
		}
		h.do(h.pick("mara", "tomas", d.who), "stonebend", actClose(id))
	})
}

func (h *history) registerThings(point, box string) {
	h.n++
	n := decimal(uint64(h.n))
	h.do(point, "", actPoint("millrow/shed/spare-"+n))
	h.do(box, "", &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "millrow/box-" + n, Holes: 4}}})
}

func (h *history) smallJob() (id string) {
	h.n++
	id = "small-" + decimal(uint64(h.n))
	h.do("mara", "stonebend", actJob(id, "tomas", room, main1))
	return id
}

// dutyRevoked has a man join, and revokes his key while his lock hangs.
func (h *history) dutyRevoked(d deed) {
	h.n++
	gus := "gus-" + decimal(uint64(h.n))
	h.enrol(gus)
	h.step(d.yard, gus, actLock(h.pick(feeder, main1, control), "", h.pick("", "boot-1")))
	h.do(h.pick("nia", "max", d.who), "", &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: gus, Key: pub(h.keys[gus]), Why: "lost"}}})
	// What it signs from now on protects all the same (decisions.md 2), and lifts nothing.
	h.step(d.yard, gus, actLock(feeder, "", ""))
	h.step(d.yard, gus, actRelease(h.aHold(func(x *oracleHold) bool { return x.by == gus })))
}

// dutyRecovery walks a yard down and begins its next epoch.
func (h *history) dutyRecovery(d deed) {
	r := &recordv1.RecoverYard{Yard: d.yard, Second: h.pick("ines", "ines", "max", d.who), OldMachineOff: h.rng.IntN(6) > 0}
	for _, p := range []string{feeder, main1, control} {
		if home(p) != d.yard {
			continue
		}
		if h.rng.IntN(3) == 0 {
			r.Locks = append(r.Locks, &recordv1.WalkedLock{Target: &recordv1.Target{On: &recordv1.Target_Point{Point: p}}, Holder: h.pick("", "ravi", d.who), Job: h.pick("", "boot-1"), Seen: "hanging"})
		}
		if h.rng.IntN(3) == 0 {
			r.Closed = append(r.Closed, p)
		}
	}
	if h.rng.IntN(3) == 0 {
		r.Inside = append(r.Inside, &recordv1.WalkedPerson{Person: h.pick("ravi", "tomas", "lena"), Job: h.pick("boot-1", "room-1")})
	}
	if r.Second != "nia" {
		h.recoverYard(r)
	}
}

// recoverYard puts a new machine in the place of a yard's, by nia and a second.
func (h *history) recoverYard(r *recordv1.RecoverYard) {
	h.n++
	r.Epoch, r.Address = h.s.Yards[r.Yard].Epoch+1, "127.0.0.1:9"
	disk := key(r.Yard + decimal(r.Epoch) + "-" + decimal(uint64(h.n)))
	r.Key = pub(disk)
	rec := h.record("nia", actRecover(r))
	f := fact{index: h.s.Size(), by: "nia", captured: rec.CapturedUnixMs, written: h.now}
	out := h.put(ledger.DirectEntry(signed(h.t, seal.RecordDomain, marshal(h.t, rec), h.keys["nia"], h.keys[r.Second], disk)))
	if out.GetAccepted() {
		h.keys[r.Yard], h.last[r.Yard] = disk, nil
	}
	h.o.note(f, proto.CloneOf(rec), out)
	h.straight(out)
}
