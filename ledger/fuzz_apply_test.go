package ledger_test

import (
	"bytes"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// filler makes acts of every kind of the contract, of a shape that is mostly right,
// about things that mostly exist, with odd numbers.
type filler struct {
	*world
	rng  *rand.Rand
	refs []string // journal places used
	// kinds that were seen to be accepted with an effect
	kinds map[string]bool
	// winding: what fits is winding down.
	winding bool
	tame    int // how many acts fit for each that is any
}

func (f *filler) pick(l ...string) string { return l[f.rng.IntN(len(l))] }

// word chooses a text for a field by what the field is about.
func (f *filler) word(field string) string {
	jobs := []string{binJob, "sweep-3", "weld-3", "none"}
	people := []string{"ravi", "lena", "tomas", "mara", "olga", "dov", "nia", "nobody"}
	zones := []string{binZone, "eastfork/bin-4", "eastfork/grain-4", "eastfork/desk", "eastfork/typo"}
	ids := []string{"in-1", "in-2", "jog-1", "jog-2", "start-1"}
	is := func(parts ...string) bool {
		for _, p := range parts {
			if strings.Contains(field, p) {
				return true
			}
		}
		return false
	}
	switch {
	case f.rng.IntN(40) == 0:
		return f.pick("", "x", "%d%s", "\x1b[2J", strings.Repeat("a", 65), "a/b/c/d", "eastfork/1/18446744073709551615")
	case is("watch") && !is("fire"), is("fumigation"):
		return f.ref()
	case is("job"):
		return f.pick(jobs...)
	case is("permit", "request"), field == "id":
		return f.pick(ids...)
	case is("zone", "place", "connected", "part", "store"):
		return f.pick(zones...)
	case is("entrants", "observers", "workers", "fire_watch", "person", "people", "from", "second", "witness", "others", "responsible", "crew", "affected", "holder", "owner"):
		return f.pick(people...)
	case is("point", "plan", "closed"):
		return f.pick(append([]string{"eastfork/mcc-1/none"}, binPlan...)...)
	case is("box"):
		return f.pick("eastfork/box-1", "eastfork/box-2")
	case is("yard"):
		return f.pick("eastfork", "millrow", "stonebend")
	}
	return f.pick("words", "two words", "")
}

func (f *filler) ref() string {
	if len(f.refs) == 0 || f.rng.IntN(12) == 0 {
		y := f.pick("eastfork", "millrow", "stonebend")
		return ledger.Ref(y, 1, f.s.Yards[y].Drained+uint64(f.rng.IntN(4)))
	}
	return f.refs[len(f.refs)-1-f.rng.IntN(min(len(f.refs), 60))]
}

func (f *filler) number() int64 {
	odd := []int64{0, 1, -1, 5, 60, 300, 1800, 19_500, 20_900, 400_000, math.MaxInt64, math.MinInt64, f.now, f.now + 60*minute, f.now - 60*minute, f.now + 240*minute}
	return odd[f.rng.IntN(len(odd))]
}

func (f *filler) scalar(fd protoreflect.FieldDescriptor) protoreflect.Value {
	n := f.number()
	switch fd.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(f.word(string(fd.Name())))
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes(make([]byte, 32))
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(f.rng.IntN(6) > 0)
	case protoreflect.EnumKind:
		return protoreflect.ValueOfEnum(protoreflect.EnumNumber(f.rng.IntN(fd.Enum().Values().Len() + 1)))
	case protoreflect.Int64Kind:
		return protoreflect.ValueOfInt64(n)
	case protoreflect.Uint64Kind:
		if n = int64(f.s.Size()) - int64(f.rng.IntN(9)); fd.Name() == "asked" {
			for _, id := range slices.Sorted(maps.Keys(f.s.Reqs)) {
				n = int64(f.s.Reqs[id].By.Index)
			}
		}
		return protoreflect.ValueOfUint64(uint64(n))
	case protoreflect.Uint32Kind:
		return protoreflect.ValueOfUint32(uint32(n))
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64([]float64{0, 1, -60, 1e300, math.NaN(), math.Inf(1)}[f.rng.IntN(6)])
	}
	return fd.Default()
}

func (f *filler) fill(m protoreflect.Message) {
	if r, is := m.Interface().(*recordv1.JournalRef); is {
		proto.Merge(r, ref(f.ref()))
		return
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		if o := fd.ContainingOneof(); o != nil && o.Fields().Get(f.rng.IntN(o.Fields().Len())) != fd {
			continue
		}
		switch {
		case fd.IsList():
			for range f.rng.IntN(4) {
				l := m.Mutable(fd).List()
				if fd.Message() == nil {
					l.Append(f.scalar(fd))
					continue
				}
				e := l.NewElement()
				f.fill(e.Message())
				l.Append(e)
			}
		case fd.Message() != nil:
			f.fill(m.Mutable(fd).Message())
		default:
			if v := f.scalar(fd); v.IsValid() {
				m.Set(fd, v)
			}
		}
	}
}

// act is a random act.
func (f *filler) act() *recordv1.Record {
	r := &recordv1.Record{}
	acts := r.ProtoReflect().Descriptor().Oneofs().ByName("act").Fields()
	var names []string
	for i := range acts.Len() {
		names = append(names, string(acts.Get(i).Name()))
	}
	for {
		fd := acts.ByName(protoreflect.Name(anyOf(f.rng, names...)))
		switch fd.Name() {
		case "revoke_key", "recover_yard", "publish_drawing", "invite", "join":
			if f.rng.IntN(20) > 0 {
				continue // they end most of what the rest is about
			}
		}
		f.fill(r.ProtoReflect().Mutable(fd).Message())
		return r
	}
}

// likely is an act that fits what goes on, and who signs it.
func (f *filler) likely() (who string, act *recordv1.Record) {
	request, permit, p := f.pick("jog-1", "jog-2"), f.pick("in-1", "in-2", "in-3"), f.pick(binPlan...)
	hold, on := f.underWay()
	n := f.rng.IntN(18)
	if f.winding { // towards a test: people out, the permit closed, holders clear
		n = []int{0, 1, 2, 4, 5, 6, 7, 8, 9, 10, 11}[f.rng.IntN(11)]
		for _, ref := range slices.Sorted(maps.Keys(f.s.Jobs[binJob].Found)) {
			if !f.s.Jobs[binJob].Found[ref].Corrected.Set() {
				return "ravi", actCorrect(ref)
			}
		}
	}
	if who, act = f.leaving(n, request, hold, on); act != nil {
		return who, act
	}
	if who, act = f.starting(n, request, permit, p); act != nil {
		return who, act
	}
	return f.entering(n, permit, p)
}

// underWay is a hold of somebody known and a sign-on that are on, "" where there is none.
func (f *filler) underWay() (hold, on string) {
	for _, ref := range f.refs {
		if h := f.s.Holds[ref]; h != nil && h.Active() && h.Holder != "" && (hold == "" || f.rng.IntN(3) == 0) {
			hold = ref
		}
		if so := f.s.SignOns[ref]; so != nil && !so.Off.Set() && (on == "" || f.rng.IntN(3) == 0) {
			on = ref
		}
	}
	return hold, on
}

// leaving is an act of somebody who gets out of the way, for n below 7.
func (f *filler) leaving(n int, request, hold, on string) (who string, act *recordv1.Record) {
	switch {
	case n < 3 && hold != "":
		return f.s.Holds[hold].Holder, f.actStandClear(hold, request)
	case n == 3 && hold != "":
		return f.s.Holds[hold].Holder, actRelease(hold)
	case n < 7 && on != "":
		return f.s.SignOns[on].Person, actSignOff(on)
	case n < 7 && f.winding:
		return "mara", actClear(binJob)
	}
	return "", nil
}

// starting is an act on the way to a start or a test, for n from 7 to 11.
func (f *filler) starting(n int, request, permit, p string) (who string, act *recordv1.Record) {
	switch n {
	case 7:
		return "mara", actTest(request, binJob, f.now+60*minute, binPlan[f.rng.IntN(len(binPlan)):]...)
	case 8:
		return "mara", actEnergise(request, p)
	case 9:
		return "mara", actClear(binJob)
	case 10:
		return "mara", actNotice(binJob, recordv1.NoticeWhen(1+f.rng.IntN(2)), "dov")
	case 11:
		return "nia", actClosePermit(permit)
	}
	return "", nil
}

// entering is an act on the way into the bin.
func (f *filler) entering(n int, permit, p string) (who string, act *recordv1.Record) {
	switch n {
	case 12:
		return "nia", actIssueBin(permit, binJob, f.now+240*minute, bin())
	case 13:
		return "ravi", actAir(binJob, binZone, []recordv1.AirLevel{top, middle, bottom}[f.rng.IntN(3)], clean()...)
	case 14:
		return "mara", actStand(binJob, observes)
	case 15:
		return "ravi", f.actIsolate(p)
	case 16:
		return f.pick("ravi", "lena", "tomas"), actLock(p, "", binJob)
	}
	return f.pick("lena", "tomas"), actSignOn(binJob)
}

// next is the next act: one that fits, or any.
func (f *filler) next() *recordv1.Outcome {
	if q := f.s.Reqs["jog-1"]; q != nil && q.Open() && f.rng.IntN(3) == 0 {
		return f.fence(f.pick(q.Involved...), q.ID)
	}
	if f.rng.IntN(f.tame) > 0 {
		return f.send(f.likely())
	}
	return f.send(f.pick("ravi", "lena", "tomas", "mara", "olga", "dov", "nia", "nia"), f.act())
}

// send signs and sends it, by a random yard, behind or not, with odd clocks.
func (f *filler) send(who string, act *recordv1.Record) *recordv1.Outcome {
	r := f.record(who, act)
	if f.rng.IntN(10) == 0 {
		r.CapturedUnixMs = f.number()
	}
	keys := []string{who}
	people, _ := ledger.CountersignersOf(r)
	for _, p := range people {
		if f.keys[p] != nil {
			keys = append(keys, p)
		}
	}
	body := marshal(f.t, r)
	s := &recordv1.Signed{Body: body}
	for _, k := range keys {
		s.Signatures = append(s.Signatures, &recordv1.Signature{Key: pub(f.keys[k]), Signature: seal.Sign(f.keys[k], seal.RecordDomain, body)})
	}
	raw := marshal(f.t, s)
	if k := ledger.KindFor(act); k == nil || k.Way == ledger.Direct {
		return f.put(ledger.DirectEntry(raw))
	}
	yard := f.pick("eastfork", "eastfork", "eastfork", "eastfork", "millrow", "stonebend")
	if f.rng.IntN(4) == 0 {
		f.basedOn[yard] = f.s.Size() - uint64(f.rng.IntN(40))
		defer delete(f.basedOn, yard)
	}
	if back := int64(f.rng.IntN(90)) * minute; f.rng.IntN(8) == 0 {
		f.now -= back
		defer func() { f.now += back }()
	}
	f.doubt = f.rng.IntN(20) == 0
	out := f.envelope(yard, &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: raw}})
	f.refs = append(f.refs, out.GetRef())
	return out
}

// FuzzApply plays acts of every kind on a bin with people inside. Nothing panics, a
// second replica that is saved and restored on the way gives the same outcomes, and
// nobody's hold or sign-on is ended by another person but by the acts that may.
func FuzzApply(f *testing.F) {
	seeds := uint64(12)
	if testing.Short() {
		seeds = 1
	}
	for i := range seeds {
		f.Add(i, i*7)
	}
	f.Fuzz(func(t *testing.T, a, b uint64) {
		w, _, _, _ := inside(t)
		two := w.s.Clone()
		x := &filler{world: w, kinds: map[string]bool{}, tame: 2 + int(b%20)}
		x.refs = append(slices.Sorted(maps.Keys(w.s.Holds)), slices.Sorted(maps.Keys(w.s.SignOns))...)
		d := newDraws(int64(a ^ b<<32))
		for i := range 150 {
			x.rng = d.next("step")
			x.winding = i%75 > 15
			x.now += int64(x.rng.IntN(120_000))
			sent := len(x.entries)
			out := x.next()
			for i, raw := range x.entries[sent:] {
				e, err := ledger.Decode(raw)
				if err != nil {
					t.Fatal(i, err)
				}
				if o := two.Apply(e); !bytes.Equal(marshal(t, out), marshal(t, o)) {
					t.Fatalf("two replicas differ:\n%v\n%v", out, o)
				}
			}
			if x.rng.IntN(30) == 0 {
				var err error
				if two, err = ledger.Restore(two.AppendCanonical(nil)); err != nil {
					t.Fatal(err)
				}
			}
			x.invariants(out)
		}
		t.Logf("accepted with an effect: %v", x.kinds)
		if !bytes.Equal(two.AppendCanonical(nil), w.s.AppendCanonical(nil)) {
			t.Fatal("two replicas are in different states")
		}
		if n := len(w.s.AppendCanonical(nil)); n > 4<<20 {
			t.Fatalf("150 entries leave a state of %d bytes", n)
		}
	})
}

// energised: no lock on the point but of holders who stood clear, nobody inside, and
// no permit to be inside (1910.147(e) and (f)(1), 1910.272(g)(1)(ii)).
func (f *filler) energised(out *recordv1.Outcome) {
	f.t.Helper()
	for _, id := range binPlan {
		p := f.s.Points[id]
		if !p.Live || p.Closed.Index != out.GetIndex() {
			continue
		}
		for _, h := range f.s.HoldsOn(id) {
			if !h.StoodClear() {
				f.t.Fatalf("%s was energised under the lock of %s", id, h.Holder)
			}
		}
	}
	for _, so := range f.s.SignOns {
		if !so.Off.Set() && so.Job == binJob {
			f.t.Fatalf("energised with %s inside", so.Person)
		}
	}
	for _, p := range f.s.WorkPermits {
		if p.Kind == recordv1.PermitKind_PERMIT_KIND_BIN_ENTRY && p.State != recordv1.PermitState_PERMIT_STATE_CLOSED {
			f.t.Fatalf("energised under permit %s", p.ID)
		}
	}
}

// invariants looks at the state from outside after every entry.
func (f *filler) invariants(out *recordv1.Outcome) {
	f.t.Helper()
	for _, h := range f.s.Holds {
		if ended := h.Off.Index == out.GetIndex() && !h.Active(); ended && h.Off.By != h.Holder && out.GetKind() != "removal" && out.GetKind() != "hand_over" {
			f.t.Fatalf("%s ended the lock of %s by %s", h.Off.By, h.Holder, out.GetKind())
		}
	}
	for _, so := range f.s.SignOns {
		if so.Off.Set() && so.Off.By != so.Person {
			f.t.Fatalf("%s signed %s off", so.Off.By, so.Person)
		}
	}
	if out.GetKind() == "energise" && out.GetAccepted() {
		f.energised(out)
	}
	f.kinds[out.GetKind()] = f.kinds[out.GetKind()] || out.GetAccepted() && len(out.GetDid()) > 0
	for id := range f.s.WorkPermits {
		v := f.s.PermitView(id, f.now)
		in := v.GetState() == recordv1.PermitState_PERMIT_STATE_IN_FORCE
		if in == (len(v.GetMissing()) > 0) && v.GetState() != recordv1.PermitState_PERMIT_STATE_CLOSED && v.GetState() != recordv1.PermitState_PERMIT_STATE_WATCHED {
			f.t.Fatalf("permit %s is %v with %v missing", id, v.GetState(), v.GetMissing())
		}
		if v.GetState() == recordv1.PermitState_PERMIT_STATE_CLOSED && out.GetKind() == "close_permit" && out.GetAccepted() && len(v.GetInside()) > 0 && f.s.WorkPermits[id].Closed.Index == out.GetIndex() {
			f.t.Fatalf("permit %s was closed with %v inside", id, v.GetInside())
		}
	}
	for id := range f.s.Jobs {
		f.s.JobView(id, f.now)
	}
	for _, y := range []string{"", "eastfork"} {
		f.s.Board(y, f.now)
	}
}
