package ledger_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// readyRoom has the job room-1 on the motor control room finished, so that only
// the people elsewhere can stand against closing the main.
func readyRoom(w *world) {
	w.t.Helper()
	w.must(w.journal("stonebend", "mara", actJob("room-1", "tomas", room, main1)))
	w.must(w.journal("stonebend", "tomas", w.actIsolate(main1)))
	h := w.must(w.journal("stonebend", "tomas", actLock(main1, "tomas-1", "room-1"))).GetRef()
	w.must(w.journal("stonebend", "tomas", actRelease(h)))
	w.must(w.journal("stonebend", "tomas", actClear("room-1")))
	w.must(w.journal("stonebend", "mara", actNotice("room-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
}

// TestSignedOnBehindAnothersLock: any committed sign-on refuses a start that the
// structure of the drawing lets reach its zone, also when a lock stands between
// now (decisions.md 9).
func TestSignedOnBehindAnothersLock(t *testing.T) {
	w := drawnWithMain(t)
	w.openJob()
	w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
	w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
	w.must(w.journal("stonebend", "ravi", actLock(feeder, "ravi-1", "boot-1")))
	w.must(w.journal("millrow", "ravi", actLock(control, "ravi-2", "boot-1")))
	on := w.must(w.journal("stonebend", "lena", actSignOn("boot-1"))).GetRef()
	readyRoom(w)
	w.refusedWith(w.direct("mara", actRequest("start-1", "room-1", w.now+1e7, main1)), "REACHES_PEOPLE")
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.direct("mara", actRequest("start-2", "room-1", w.now+1e7, main1)))
}

// TestNarrowedDrawing: a revision that shows less can't talk somebody out of the
// way of a start, signed on or only holding a lock elsewhere (decisions.md 9).
func TestNarrowedDrawing(t *testing.T) {
	for _, signedOn := range []bool{true, false} {
		w := drawn(t)
		w.must(w.direct("nia", actPoint("eastfork/mcc-9/fan")))
		w.openJob()
		w.must(w.journal("stonebend", "ravi", w.actIsolate(feeder)))
		w.must(w.journal("millrow", "tomas", w.actIsolate(control)))
		w.must(w.journal("millrow", "tomas", actLock(control, "tomas-2", "")))
		w.must(w.journal("stonebend", "mara", actJob("feed-1", "tomas", zone, feeder)))
		w.must(w.journal("stonebend", "mara", actNotice("feed-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
		w.must(w.journal("stonebend", "tomas", actClear("feed-1")))
		if signedOn {
			w.must(w.journal("eastfork", "lena", actSignOn("boot-1")))
		} else {
			w.must(w.journal("eastfork", "lena", actLock("eastfork/mcc-9/fan", "lena-1", "boot-1")))
		}
		// nia redraws: the feeder feeds a fan, and nothing feeds the leg.
		stone, _ := drawings()
		d := proto.CloneOf(stone)
		d.Revision = 2
		d.Nodes = append(d.Nodes, &recordv1.Node{Name: "fan", Kind: recordv1.NodeKind_NODE_KIND_MACHINE})
		d.Links[0].To = "fan"
		w.must(w.publish("nia", d))
		w.refusedWith(w.direct("mara", actRequest("start-1", "feed-1", w.now+1e7, feeder)), "REACHES_PEOPLE")
	}
}

// TestSignOnToUnknownJob: somebody who signed on under a mistyped job may be
// anywhere; until they sign off nothing starts.
func TestSignOnToUnknownJob(t *testing.T) {
	w := released(t)
	on := w.must(w.journal("stonebend", "lena", actSignOn("bot-1"))).GetRef()
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)), "REACHES_ANYWHERE")
	w.must(w.journal("stonebend", "lena", actSignOff(on)))
	w.must(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)))
}

// TestSignOnAfterClose: a sign-on that a cut-off yard delivers after the job was
// closed still stands against a start that reaches that zone.
func TestSignOnAfterClose(t *testing.T) {
	w := released(t)
	w.must(w.journal("stonebend", "mara", actJob("feed-1", "tomas", zone, feeder, control)))
	w.must(w.journal("stonebend", "mara", actNotice("feed-1", recordv1.NoticeWhen_NOTICE_WHEN_AFTER, "dov")))
	w.must(w.journal("stonebend", "tomas", actClear("feed-1")))
	seen := w.s.Size()
	w.must(w.journal("stonebend", "ravi", actClose("boot-1")))
	w.must(w.behind("millrow", "lena", seen, actSignOn("boot-1")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "feed-1", w.now+1e7, feeder, control)), "REACHES_PEOPLE")
}

// TestLockThatNamesNoJob: a tired worker locks one point of the plan and names no
// job: whoever holds it may be in the zone, so the other points stay off too.
func TestLockThatNamesNoJob(t *testing.T) {
	w := released(t)
	w.must(w.journal("millrow", "lena", actLock(control, "lena-2", "")))
	w.refusedWith(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder)), "REACHES_PEOPLE")
	w.refusedWith(w.journal("stonebend", "ravi", actClose("boot-1")), ledger.StillOnJob)
}

// TestOtherJobAskedAgainAtEnergise: the conditions of another job in the way of the
// points are asked again at the energise, not at the request alone.
func TestOtherJobAskedAgainAtEnergise(t *testing.T) {
	w := released(t)
	w.must(w.journal("stonebend", "mara", actJob("paint-1", "tomas", zone, feeder, control)))
	w.approve("start-1", "boot-1", feeder, control)
	// tomas's crew fitted grounds for paint-1 and says so only now.
	w.must(w.journal("stonebend", "tomas", actGrounds("paint-1", 3, 0)))
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), "GROUNDS")
}

// TestEnergiseAfterDeadline: a permission ends at the deadline that was signed,
// whether or not somebody recorded its end.
func TestEnergiseAfterDeadline(t *testing.T) {
	w := released(t)
	w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+60_000, feeder, control)))
	for _, y := range w.s.Reqs["start-1"].Involved {
		w.must(w.fence(y, "start-1"))
	}
	w.now += 120_000
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), "REQUEST_OVER")
}
