package ledger_test

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestNeverJogAChokedLeg: a leg is not jogged to free a choke, 1910.272(q)(1): no
// test, positioning or start reaches it until it was dug out by hand.
func TestNeverJogAChokedLeg(t *testing.T) {
	for _, where := range []string{zone, motor, "stonebend/leg"} {
		for _, kind := range []recordv1.RequestKind{recordv1.RequestKind_REQUEST_KIND_TEST, recordv1.RequestKind_REQUEST_KIND_POSITIONING, 0} {
			w := released(t)
			ask := func(id string) *recordv1.Outcome {
				r := actRequest(id, "boot-1", w.now+1e7, feeder, control)
				r.GetRequest().Kind = kind
				return w.direct("mara", r)
			}
			w.must(ask("jog-0"))
			choke := w.must(w.journal("stonebend", "dov", actChoked(where))).GetRef()
			if st := w.s.Reqs["jog-0"].State; st != recordv1.RequestState_REQUEST_STATE_VOID {
				t.Errorf("%s: the open request is %v after the choke", where, st)
			}
			o := ask("jog-1")
			w.refusedWith(o, ledger.Choked)
			for _, c := range o.GetConditions() {
				if code.Is(c, ledger.Choked) && code.ClauseOf(c) != "1910.272(q)(1)" {
					t.Errorf("the refusal says %v", c)
				}
			}
			if v := w.s.JobView("boot-1", w.now); !has(v.GetChokes(), ledger.Choked, where) {
				t.Errorf("the job shows %v", v.GetChokes())
			}
			if len(w.s.MissingForWork(w.s.Jobs["boot-1"])) > 0 && has(w.s.MissingForWork(w.s.Jobs["boot-1"]), ledger.Choked, "") {
				t.Error("digging it out is work, and the choke refuses it")
			}
			w.refusedWith(w.journal("stonebend", "dov", actClearChoke(choke, true)), ledger.NotPermitted)
			w.refusedWith(w.journal("stonebend", "ravi", actClearChoke(choke, false)), ledger.NotDugOut)
			w.refusedWith(w.journal("stonebend", "ravi", actClearChoke("stonebend/1/9999", true)), ledger.UnknownChoke)
			w.must(w.journal("stonebend", "ravi", actClearChoke(choke, true)))
			w.must(ask("jog-2"))
			if v := w.s.JobView("boot-1", w.now); len(v.GetChokes()) > 0 || code.Has(w.board().GetAlarms(), ledger.Choked) {
				t.Error("dug out, and shown as choked still")
			}
		}
	}
}

// TestChokeAtTheEnergise: one written down while cut off arrives after the approval
// and stops the energise; one that the points don't reach stops nothing; and one at
// a place that no drawing shows stops everything.
func TestChokeAtTheEnergise(t *testing.T) {
	w := released(t)
	w.must(w.direct("mara", actRequest("start-1", "boot-1", w.now+1e7, feeder, control)))
	w.must(w.fence("stonebend", "start-1"))
	w.must(w.fence("millrow", "start-1"))
	w.must(w.journal("eastfork", "dov", actChoked(zone)))
	w.refusedWith(w.journal("stonebend", "ravi", actEnergise("start-1", feeder)), ledger.NotApproved)

	w = released(t)
	east := &recordv1.Drawing{Yard: "eastfork", Revision: 1, Title: "Eastfork",
		Nodes: []*recordv1.Node{{Name: "service", Kind: recordv1.NodeKind_NODE_KIND_SOURCE}, {Name: "leg", Kind: recordv1.NodeKind_NODE_KIND_MACHINE}},
		Links: []*recordv1.Link{{Name: "feed", From: "service", To: "leg", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "mcc-1", Device: "leg", Lockable: true}}},
		Zones: []*recordv1.Zone{{Name: "leg-boot", Parts: []*recordv1.ExposedPart{{Node: "leg", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_ELECTRICITY}}}}}}
	w.must(w.publish("nia", east))
	w.must(w.journal("eastfork", "dov", actChoked("eastfork/leg-boot")))
	w.must(w.journal("eastfork", "dov", actChoked("eastfork/leg")))
	w.must(w.direct("mara", actRequest("start-2", "boot-1", w.now+1e7, feeder, control)))
	if o := w.must(w.journal("eastfork", "dov", actChoked("eastfork/no-such"))); !flagged(o, ledger.ChokeNotDrawn) {
		t.Error("a choke on no drawing is not flagged")
	}
	w.refusedWith(w.direct("mara", actRequest("start-3", "boot-1", w.now+1e7, feeder, control)), ledger.Choked)
}
