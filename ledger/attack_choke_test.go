package ledger_test

import (
	"slices"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestChokeClearedUnseen: a word written before the choke was known where it was
// written is about another one, however its reference was guessed.
func TestChokeClearedUnseen(t *testing.T) {
	w := drawn(t)
	seen := w.s.Size()
	c := w.must(w.journal("stonebend", "dov", actChoked(zone))).GetRef()
	w.refusedWith(w.behind("millrow", "ravi", seen, actClearChoke(c, true)), "CHOKE_NOT_SEEN")
	// Dug out, as its capture says, before the choke was found.
	w.refusedWith(w.captured("stonebend", "ravi", w.s.Chokes[c].At.Time-60_000, actClearChoke(c, true)), "CHOKE_NOT_SEEN")
	w.must(w.journal("stonebend", "ravi", actClearChoke(c, true)))
}

// TestChokeOutlivesItsZone: a revision that gives the choked leg's place to another
// zone, and leaves out what reached it, lets nothing be jogged: no revision narrows
// what is reached (1910.272(q)(1); decisions.md 9).
func TestChokeOutlivesItsZone(t *testing.T) {
	w := drawnWithMain(t)
	choke := w.must(w.journal("stonebend", "dov", actChoked("stonebend/leg"))).GetRef()
	d := withMain(3)
	d.Zones[0].Name = "boot-of-leg-1"
	d.Links = slices.DeleteFunc(d.Links, func(l *recordv1.Link) bool { return l.GetFrom() == "millrow/control-out" })
	w.must(w.publish("mara", d))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("stonebend", "mara", actJob("room-1", "tomas", room, main1, control)))
	w.must(w.journal("stonebend", "mara", actNotice("room-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.journal("stonebend", "tomas", actClear("room-1")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, control)), "CHOKED")
	w.must(w.walk("ravi", "stonebend"))
	w.refusedWith(w.journal("stonebend", "mara", actNarrow(zone, control)), "UNKNOWN_ZONE")
	w.must(w.journal("stonebend", "ravi", actClearChoke(choke, true)))
	w.must(w.direct("mara", actRequest("start-2", "room-1", w.now+1e7, control)))
}
