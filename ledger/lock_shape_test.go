package ledger

import (
	"strings"
	"testing"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestLockShapes: junk in an act about locks, points, boxes or padlocks never reaches
// the rules, and the refusal names the field (the contract's own names).
func TestLockShapes(t *testing.T) {
	rows := map[string]Kind{}
	for _, k := range declared {
		rows[k.Name] = k
	}
	point := &recordv1.Target{On: &recordv1.Target_Point{Point: "stonebend/mcc-1/leg-2"}}
	ref := &recordv1.JournalRef{Yard: "stonebend", Epoch: 1, Seq: 2}
	lock := func(l *recordv1.Lock) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_Lock{Lock: l}}
	}
	key := func(m *recordv1.MoveKey) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_MoveKey{MoveKey: m}}
	}
	const out, back, gone = recordv1.KeyMove_KEY_MOVE_TAKEN_OUT, recordv1.KeyMove_KEY_MOVE_PUT_BACK, recordv1.KeyMove_KEY_MOVE_DESTROYED
	describe := func(d *recordv1.DescribePoint) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_DescribePoint{DescribePoint: d}}
	}
	for _, c := range []struct {
		rec *recordv1.Record
		bad string // the fields, in order
	}{
		{lock(&recordv1.Lock{Target: point, Padlock: "p-1", Job: "boot-1"}), ""},
		{lock(&recordv1.Lock{Target: point}), ""},
		{lock(&recordv1.Lock{Padlock: "two\nlines", Job: "Boot"}), "target padlock job"},
		{lock(&recordv1.Lock{Target: point, Tag: &recordv1.Tag{Legend: 9, Means: []recordv1.ExtraMeans{0}, Demonstration: "D"}}), "tag.legend tag.means tag.demonstration"},
		{&recordv1.Record{Act: &recordv1.Record_FoundLock{FoundLock: &recordv1.FoundLock{Target: point, Job: "-"}}}, "job"},
		{&recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{Hold: ref, Why: "a\tb"}}}, "why"},
		{&recordv1.Record{Act: &recordv1.Record_Release{Release: &recordv1.Release{}}}, "hold"},
		{&recordv1.Record{Act: &recordv1.Record_TriedHandle{TriedHandle: &recordv1.TriedHandle{}}}, "hold"},
		{&recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: "leg-2"}}}, "point"},
		{&recordv1.Record{Act: &recordv1.Record_Closed{Closed: &recordv1.Closed{}}}, "point"},
		{&recordv1.Record{Act: &recordv1.Record_FoundClosed{FoundClosed: &recordv1.FoundClosed{Point: "a/b/c", Seen: "\x1b[2J"}}}, "seen"},
		{&recordv1.Record{Act: &recordv1.Record_FoundStarted{FoundStarted: &recordv1.FoundStarted{Points: []string{"a/b/c", "a/b/c"}}}}, "points what"},
		{&recordv1.Record{Act: &recordv1.Record_FoundStarted{FoundStarted: &recordv1.FoundStarted{What: "the drag moved"}}}, ""},
		{&recordv1.Record{Act: &recordv1.Record_BoxAdd{BoxAdd: &recordv1.BoxAdd{Box: "a/b/c", Point: "a/b"}}}, "box point"},
		{&recordv1.Record{Act: &recordv1.Record_BoxRemove{BoxRemove: &recordv1.BoxRemove{Box: "a/b", Point: "a/b/c"}}}, ""},
		{&recordv1.Record{Act: &recordv1.Record_RegisterPadlock{RegisterPadlock: &recordv1.RegisterPadlock{Serial: "P", Spare: 9, SpareHolder: "X", Kind: 9}}}, "serial owner spare spare_holder kind"},
		{key(&recordv1.MoveKey{Serial: "p-1", Move: out, Holder: "nia", Removal: "stonebend/1/2"}), ""},
		{key(&recordv1.MoveKey{Serial: "p-1", Move: out, Holder: "nia", Removal: "stonebend/01/2"}), "removal"},
		{key(&recordv1.MoveKey{Serial: "p-1", Move: back}), "holder"},
		{key(&recordv1.MoveKey{Serial: "p-1", Move: gone, Holder: "nia"}), "holder"},
		{key(&recordv1.MoveKey{Serial: "p-1", Move: gone}), ""},
		{key(&recordv1.MoveKey{Serial: "p-1", Move: 9, Holder: "nia"}), "move"},
		{&recordv1.Record{Act: &recordv1.Record_IssuePadlock{IssuePadlock: &recordv1.IssuePadlock{Serial: "p-1", Person: "Nia"}}}, "person"},
		{&recordv1.Record{Act: &recordv1.Record_ReportPadlock{ReportPadlock: &recordv1.ReportPadlock{Serial: "p-1"}}}, "trouble"},
		{&recordv1.Record{Act: &recordv1.Record_ClearPadlock{ClearPadlock: &recordv1.ClearPadlock{Serial: "p-1", Trouble: 1}}}, "why"},
		{&recordv1.Record{Act: &recordv1.Record_ReviewLock{ReviewLock: &recordv1.ReviewLock{Hold: "all"}}}, "hold next_unix_ms seen"},
		{describe(&recordv1.DescribePoint{Point: "a/b/c", NotLockable: true, Demonstration: "d-1"}), "demonstration why"},
		{describe(&recordv1.DescribePoint{Point: "a/b/c", Demonstration: "d-1", Why: "reviewed"}), ""},
	} {
		var f fields
		rows[KindOf(c.rec)].Shape(&f, c.rec)
		var bad []string
		for _, b := range f.bad {
			if err := code.Check(b); err != nil {
				t.Error(err)
			}
			bad = append(bad, b.GetSubject())
		}
		if got := strings.Join(bad, " "); got != c.bad {
			t.Errorf("%v: wrong fields %q, want %q", c.rec, got, c.bad)
		}
	}
}
