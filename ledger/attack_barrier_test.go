package ledger_test

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// behindFeeder has ravi's and lena's locks on for work at the leg, and a job in the
// motor control room that asks for the main breaker, upstream of the locked feeder.
func behindFeeder(t testing.TB) *world {
	w := drawnWithMain(t)
	w.isolate()
	w.must(w.journal("stonebend", "tomas", w.actIsolate(main1)))
	w.must(w.journal("stonebend", "mara", actJob("room-1", "tomas", room, main1)))
	w.must(w.journal("stonebend", "mara", actNotice("room-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.journal("stonebend", "tomas", actClear("room-1")))
	return w
}

// TestBarrierOnWrongDrawing: a locked point keeps a start away from people only as far
// as its drawing is right. Once something was found live on it, and until it is walked,
// that can't be told (NFPA 70E 120.5(1); 1910.147(e)(2)(i)).
func TestBarrierOnWrongDrawing(t *testing.T) {
	w := behindFeeder(t)
	w.must(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, main1)))
	w.must(w.direct("mara", &recordv1.Record{Act: &recordv1.Record_Withdraw{Withdraw: &recordv1.Withdraw{Request: "start-1"}}}))
	f := w.must(w.journal("stonebend", "lena", actFoundLive("boot-1", motor))).GetRef()
	w.refusedWith(w.direct("mara", actRequest("start-2", "room-1", w.now+1e7, main1)), "REACHES_PEOPLE")
	w.must(w.journal("stonebend", "ravi", actCorrect(f)))
	w.refusedWith(w.direct("mara", actRequest("start-3", "room-1", w.now+1e7, main1)), "REACHES_PEOPLE")
	w.must(w.walk("ravi", "stonebend"))
	w.must(w.walk("ravi", "millrow"))
	w.must(w.direct("mara", actRequest("start-4", "room-1", w.now+1e7, main1)))
}

// TestBarrierOnUnwalkedDrawing: a revision that nobody walked puts a locked point
// between the start and the people. It keeps nothing away from them.
func TestBarrierOnUnwalkedDrawing(t *testing.T) {
	w := drawn(t)
	w.isolate()
	w.must(w.publish("nia", withMain(2)))
	w.must(w.journal("stonebend", "tomas", w.actIsolate(main1)))
	w.must(w.journal("stonebend", "mara", actJob("room-1", "tomas", room, main1)))
	w.must(w.journal("stonebend", "mara", actNotice("room-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.journal("stonebend", "tomas", actClear("room-1")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, main1)), "REACHES_PEOPLE")
	w.must(w.walk("ravi", "stonebend"))
	w.must(w.direct("mara", actRequest("start-2", "room-1", w.now+1e7, main1)))
}

// TestBarrierThatRan: somebody at another yard heard the leg run behind the locked
// feeder, and its own yard has not looked.
func TestBarrierThatRan(t *testing.T) {
	w := behindFeeder(t)
	st := w.must(w.journal("eastfork", "lena", actFoundStarted("heard the leg run", feeder))).GetRef()
	w.refusedWith(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, main1)), "REACHES_PEOPLE")
	w.must(w.journal("stonebend", "ravi", actCorrect(st)))
	w.must(w.direct("mara", actRequest("start-2", "room-1", w.now+1e7, main1)))
}
