package ledger_test

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Single acts by anybody, at any yard, for the random histories.

// deed is who does something, where and to what. Not every act needs all of it.
type deed struct {
	who, boss   string
	yard, point string
	job, serial string
}

func (h *history) wildDeed() deed {
	return deed{who: h.pick("ravi", "tomas", "lena", "mara", "dov", "nia"), yard: h.pick("stonebend", "millrow", "eastfork"), point: h.pick(oraclePoints...)}
}

// wildActs come, all together, about once in a unit of time; slower makes them come
// less often.
func wildActs(slower float64) []occasion {
	var all []occasion
	add := func(name string, every float64, act func(h *history, d deed)) {
		all = append(all, occasion{name, every * slower, func(h *history) { act(h, h.wildDeed()) }})
	}
	add("lock", 14, func(h *history, d deed) { h.wild(d.yard, d.who, actLock(d.point, "", h.pick("", h.anyJob()))) })
	add("lock the box", 28, func(h *history, d deed) { h.wild(d.yard, d.who, actLockBox(keyBox, "", h.anyJob())) })
	add("release", 9, (*history).wildRelease)
	add("isolate", 28, func(h *history, d deed) { h.wild(home(d.point), d.who, h.actIsolate(d.point)) })
	add("found closed", 110, func(h *history, d deed) { h.wild(home(d.point), d.who, actFoundClosed(d.point)) })
	add("box", 28, (*history).wildBox)
	add("sign on", 42, func(h *history, d deed) { h.wild(d.yard, d.who, actSignOn(h.anyJob())) })
	add("sign off", 14, (*history).wildSignOff)
	add("reading", 28, func(h *history, d deed) {
		h.wild(d.yard, d.who, actReading(h.anyJob(), h.pick(motor, coil, "stonebend/bus"), recordv1.Medium_MEDIUM_ELECTRICITY, recordv1.ReadingKind_READING_KIND_METER, float64(h.rng.IntN(55))))
	})
	add("tried handle", 28, func(h *history, d deed) { h.wild(d.yard, d.who, actTried(first(h.refs()))) })
	add("clear area", 110, func(h *history, d deed) { h.wild(d.yard, d.who, actClear(h.anyJob())) })
	add("notice", 110, func(h *history, d deed) {
		h.wild(d.yard, d.who, actNotice(h.anyJob(), recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov"))
	})
	add("stored released", 110, func(h *history, d deed) { h.wild(d.yard, d.who, actStored(h.anyJob(), bucket)) })
	add("found live", 110, func(h *history, d deed) { h.wild(d.yard, d.who, actFoundLive(h.anyJob(), motor)) })
	add("energise", 28, (*history).wildEnergise)
	add("request", 28, func(h *history, d deed) {
		h.n++
		h.together(d.who, actRequest("wild-"+decimal(uint64(h.n)), h.anyJob(), h.now+1e7, d.point))
	})
	add("removal", 25, func(h *history, d deed) {
		h.together(h.pick(d.who, "nia", "max"), actRemoval(first(h.onHolds(h.rng.IntN(2) == 0)), h.pick("ines", "max", "nia", d.who)))
	})
	add("hand over", 25, (*history).wildHandOver)
	add("found lock", 25, func(h *history, d deed) {
		h.wild(d.yard, d.who, actFoundLock(d.point))
	})
	add("claim lock", 25, func(h *history, d deed) {
		if w := h.pick("mara", "nia", "dov"); w != d.who {
			h.together(d.who, actClaim(first(h.onHolds(true)), w))
		}
	})
	add("replace key", 70, func(h *history, d deed) { h.newKey(d.who) })
	add("reissue key", 70, func(h *history, d deed) { h.givenKey(h.pick("nia", "max", "dov"), d.who) })
	add("found started", 75, func(h *history, d deed) { h.wild(d.yard, d.who, actFoundStarted("it ran", d.point)) })
	add("acknowledge removal", 25, func(h *history, d deed) {
		for _, ref := range slices.Sorted(maps.Keys(h.o.debts)) {
			h.together(h.pick(d.who, h.o.debts[ref]), actAcknowledge(ref))
			return
		}
	})
	add("stand clear", 25, (*history).wildStandClear)
	return all
}

// wild journals an act as somebody careless does.
func (h *history) wild(yard, who string, act *recordv1.Record) { h.step(yard, who, act, true) }

// first of some references, or one that was never given.
func first(refs []string) string {
	if len(refs) == 0 {
		return "stonebend/1/1"
	}
	return refs[0]
}

// onHolds are the holds that are on, of which somebody knows the holder or nobody
// does, in random order.
func (h *history) onHolds(unknown bool) (out []string) {
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off && (x.by == "") == unknown {
			out = append(out, ref)
		}
	}
	return out
}

// holder of a hold, or somebody else where nobody knows.
func (h *history) holder(ref, otherwise string) string {
	if x := h.o.holds[ref]; x != nil && x.by != "" {
		return x.by
	}
	return otherwise
}

func (h *history) wildRelease(d deed) {
	for _, ref := range h.refs() {
		if x := h.o.holds[ref]; !x.off {
			h.wild(d.yard, h.pick(d.who, cmp.Or(x.by, d.who)), actRelease(ref))
			return
		}
	}
}

func (h *history) wildBox(d deed) {
	act := actBoxAdd(d.point)
	if h.rng.IntN(2) == 0 {
		act = actBoxRemove(d.point)
	}
	h.wild("eastfork", d.who, act)
}

func (h *history) wildSignOff(d deed) {
	for _, ref := range h.onRefs() {
		if x := h.o.ons[ref]; !x.off {
			h.wild(d.yard, h.pick(d.who, x.by), actSignOff(ref))
			return
		}
	}
}

// openRequest is the first request that is open.
func (h *history) openRequest() (q *ledger.Request, is bool) {
	for _, id := range slices.Sorted(maps.Keys(h.s.Reqs)) {
		if q := h.s.Reqs[id]; q.Open() {
			return q, true
		}
	}
	return nil, false
}

func (h *history) wildEnergise(d deed) {
	if q, is := h.openRequest(); is {
		h.wild(home(d.point), d.who, actEnergise(q.ID, d.point))
	}
}

// wildHandOver hands a lock over to another one that hangs, rather to one that fits.
func (h *history) wildHandOver(d deed) {
	on := h.onHolds(false)
	off, other := first(on), first(h.onHolds(false))
	for _, ref := range on {
		if x, y := h.o.holds[ref], h.o.holds[off]; ref != off && x.point+x.box == y.point+y.box && x.by != y.by {
			other = ref
		}
	}
	if a, b := h.holder(off, d.who), h.holder(other, d.who); a != b && off != other {
		h.together(a, actHandOver([]string{b}, off, other))
	}
}

// newKey has somebody replace their own key.
func (h *history) newKey(who string) {
	k := key(fmt.Sprint("replaced ", who, h.s.Size()))
	if h.together(who, &recordv1.Record{Act: &recordv1.Record_ReplaceKey{ReplaceKey: &recordv1.ReplaceKey{Key: pub(k)}}}, k).GetAccepted() {
		h.keys[who] = k
	}
}

// givenKey has somebody give another person a new key.
func (h *history) givenKey(by, who string) {
	k := key(fmt.Sprint("reissued ", who, h.s.Size()))
	if h.together(by, &recordv1.Record{Act: &recordv1.Record_ReissueKey{ReissueKey: &recordv1.ReissueKey{Person: who, Key: pub(k)}}}, k).GetAccepted() {
		h.keys[who] = k
	}
}

func (h *history) wildStandClear(d deed) {
	if q, is := h.openRequest(); is {
		ref := first(h.onHolds(false))
		h.together(h.pick(d.who, h.holder(ref, d.who)), h.actStandClear(ref, q.ID))
	}
}

func actBoxAdd(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: keyBox, Point: point}}}
}

func actBoxRemove(point string) *recordv1.Record {
	return &recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: keyBox, Point: point}}}
}
