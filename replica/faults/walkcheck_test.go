package faults_test

import (
	"slices"
	"strings"
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// history is a ledger made by hand, all of it accepted and in millrow's journal.
type history struct{ all []entry }

func (h *history) put(kind, by string, rec *recordv1.Record, env *recordv1.Envelope) *recordv1.JournalRef {
	n := uint64(len(h.all) + 1)
	env.Yard, env.Epoch, env.Seq = "millrow", 1, n
	e := entry{index: len(h.all), kind: kind, rec: rec, env: env, ref: ledger.Ref("millrow", 1, n), counted: true,
		out: &recordv1.Outcome{Accepted: true, TimeUnixMs: int64(n)}}
	if rec != nil {
		rec.Signer = by
		e.keys = [][]byte{public(testKey(by))}
	}
	h.all = append(h.all, e)
	return &recordv1.JournalRef{Yard: "millrow", Epoch: 1, Seq: n}
}

func (h *history) act(kind, by string, rec *recordv1.Record) *recordv1.JournalRef {
	return h.put(kind, by, rec, &recordv1.Envelope{})
}

// TestWalkFinds: the walk passes a day on which all goes well, and finds what protocol.md
// 1 forbids when one step of it is left out, or done by another.
func TestWalkFinds(t *testing.T) {
	day := []string{"opened", "locked", "off", "asked", "confirmed", "energised"}
	for _, test := range []struct {
		name string
		days []string
		want string
	}{
		{"all goes well", day, ""},
		{"a lock is left on", without(day, "off"), "still has lock"},
		{"another takes it off", replaced(day, "off", "off by lena"), "the lock is ravi's"},
		{"nobody asked", without(day, "asked"), "nobody asked"},
		{"the yard did not confirm", without(day, "confirmed"), "did not confirm"},
		{"it was never opened", without(day, "opened"), "was not to be energised"},
		{"a lock after the request", []string{"opened", "asked", "confirmed", "locked", "off", "energised"}, "that ends it"},
		{"a promise on a live point", []string{"promised"}, "is live or not under the lock"},
		{"a record is missing", append(slices.Clone(day), "gap"), "the journal goes on at"},
	} {
		t.Run(test.name, func(t *testing.T) {
			bad := strings.Join(walk(entriesOf(test.days)), "\n")
			if test.want == "" && bad != "" || !strings.Contains(bad, test.want) {
				t.Errorf("found %q, want %q", bad, test.want)
			}
		})
	}
}

func without(all []string, step string) []string {
	return slices.DeleteFunc(slices.Clone(all), func(s string) bool { return s == step })
}

func replaced(all []string, step, by string) []string {
	out := slices.Clone(all)
	out[slices.Index(out, step)] = by
	return out
}

// entriesOf makes the entries of these steps, by ravi and lena at millrow's point.
func entriesOf(steps []string) []entry {
	h := &history{}
	p := point("millrow")
	on := &recordv1.Target{On: &recordv1.Target_Point{Point: p}}
	for _, who := range []string{"ravi", "lena"} {
		h.act("join", who, &recordv1.Record{Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: "inv-" + who, Key: public(testKey(who))}}})
	}
	h.act("register_point", manager, &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: p}}})
	var hold *recordv1.JournalRef
	off := func(by string) {
		h.act("release", by, &recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: hold}}})
	}
	for _, s := range steps {
		switch s {
		case "opened":
			h.act("isolate", "ravi", &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: p}}})
		case "locked":
			hold = h.act("lock", "ravi", &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: on}}})
		case "promised":
			h.put("lock", "ravi", &recordv1.Record{Act: &recordv1.Record_Lock{Lock: &recordv1.Lock{Target: on}}}, &recordv1.Envelope{Grant: recordv1.Grant_GRANT_HELD_LOCALLY, Promised: []string{p}})
		case "off":
			off("ravi")
		case "off by lena":
			off("lena")
		case "asked":
			h.act("request", "lena", &recordv1.Record{Act: &recordv1.Record_Request{Request: &recordv1.Request{Id: "start", DeadlineUnixMs: 1000, Points: []string{p}}}})
		case "confirmed":
			h.put("fence", "", nil, &recordv1.Envelope{Body: &recordv1.Envelope_Fence{Fence: &recordv1.Fence{Request: "start"}}})
		case "energised":
			h.act("energise", "lena", &recordv1.Record{Act: &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: "start", Point: p}}})
		case "gap":
			h.act("isolate", "ravi", &recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: p}}})
			h.all[len(h.all)-1].env.Seq++
		}
	}
	return h.all
}
