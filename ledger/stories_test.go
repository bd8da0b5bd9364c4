package ledger_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	"yardhasp/testdata/story"
)

// TestStories plays testdata/stories: what people record, and the codes that the
// ledger answers with. Each story names the clause or decision that it shows.
func TestStories(t *testing.T) {
	const folder = "testdata/stories"
	files, err := filepath.Glob(folder + "/*.story")
	if err != nil || len(files) < 2 {
		t.Fatalf("%d files of stories: %v", len(files), err)
	}
	for _, file := range files {
		name := filepath.Base(file)
		if name == "names.story" {
			continue
		}
		f, err := story.Read(os.DirFS(folder), name, "names.story")
		if err != nil {
			t.Fatal(err)
		}
		t.Run(strings.TrimSuffix(name, ".story"), func(t *testing.T) {
			for _, s := range f.Stories {
				t.Run(s.Name, func(t *testing.T) {
					t.Log(s.Rule)
					story.Play(t, &played{t: t, made: map[string]ed25519.PrivateKey{}}, s)
				})
			}
		})
	}
}

// played is the world of a story.
type played struct {
	*world
	t *testing.T
	// here is the yard whose journal takes what has no yard of its own.
	here string
	// made are the keys that stories name, by their public half.
	made map[string]ed25519.PrivateKey
}

// beginning is a world, the yard where a story is, and what was named there.
type beginning func(t *testing.T) (w *world, here string, names map[string]string)

func at(yard string, begin func(t testing.TB) *world) beginning {
	return func(t *testing.T) (*world, string, map[string]string) { return begin(t), yard, nil }
}

func locked(yard string, begin func(t testing.TB) (*world, map[string]string)) beginning {
	return func(t *testing.T) (*world, string, map[string]string) {
		w, holds := begin(t)
		return w, yard, locksOf(holds)
	}
}

// beginnings are the words that "given" knows.
var beginnings = map[string]beginning{
	// A co-op of three yards with its people and no drawing.
	"coop": at("stonebend", coop),
	// The drawings of a leg are published and walked.
	"drawn": at("stonebend", drawn),
	// The same, with a main breaker ahead of the feeder and a motor control room.
	"drawn-with-main": at("stonebend", drawnWithMain),
	// boot-1 is told of, shut down, opened, and locked by ravi and lena: ravi-feeder,
	// ravi-control, lena-feeder, lena-control.
	"isolated": locked("stonebend", isolated),
	// And the store is released and everything proved: work may start.
	"ready": locked("stonebend", ready),
	// And the area is clear, every lock is off, and dov is told: a start may be asked for.
	"released": at("stonebend", released),
	// A revision left out the cable from millrow: boot-1 and room-1 are open.
	"uncabled": at("stonebend", uncabled),
	// The same, walked, locked by ravi (ravi-feeder) and proved for boot-1.
	"uncabled-ready": func(t *testing.T) (*world, string, map[string]string) {
		w, hold := legReady(t)
		return w, "stonebend", map[string]string{"ravi-feeder": hold}
	},
	// ready, with no gas at the work and tomas on fire watch: watch.
	"hot": func(t *testing.T) (*world, string, map[string]string) {
		w, watch := readyHot(t)
		return w, "stonebend", map[string]string{"watch": watch}
	},
	// A procedure is approved, ravi and lena used it; wim has not.
	"approved": func(t *testing.T) (*world, string, map[string]string) { return approved(t), "stonebend", nil },
	// The bin's five points are open, locked by ravi, lena and tomas, and proved.
	"bin-isolated": locked("eastfork", isolatedBin),
	// And the air is tested, and mara observes: watch.
	"bin-ready": func(t *testing.T) (*world, string, map[string]string) {
		w, holds, watch := readyBin(t)
		names := locksOf(holds)
		names["watch"] = watch
		return w, "eastfork", names
	},
	// And lena and tomas are inside under the permit in-1: lena-in, tomas-in.
	"bin-entered": func(t *testing.T) (*world, string, map[string]string) {
		w, holds, ons, watch := inside(t)
		names := locksOf(holds)
		names["watch"], names["lena-in"], names["tomas-in"] = watch, ons["lena"], ons["tomas"]
		return w, "eastfork", names
	},
}

// locksOf names locks after their holder and what they hang on: ravi-feeder.
func locksOf(holds map[string]string) map[string]string {
	out := map[string]string{}
	for k, ref := range holds {
		who, point, _ := strings.Cut(k, " ")
		out[who+"-"+point[strings.LastIndexByte(point, '/')+1:]] = ref
	}
	return out
}

func (p *played) Given(word string) (map[string]string, error) {
	if p.world != nil {
		add, ok := arrivals[word]
		if !ok {
			return nil, fmt.Errorf("given: %q is nothing that is added to a beginning", word)
		}
		add(p.world)
		return nil, nil
	}
	begin, ok := beginnings[word]
	if !ok {
		return nil, fmt.Errorf("given: there is no beginning %q", word)
	}
	w, here, names := begin(p.t)
	p.world, p.here = w, here
	return names, nil
}

// arrivals come to a co-op that is there already.
var arrivals = map[string]func(w *world){
	// oskar and petra are managers beside nia; petra is an authorised employee too.
	"managers": func(w *world) { w.crew() },
	// boot-1 is told of, shut down, opened, and locked by ravi and lena.
	"boot-locked": func(w *world) { w.isolate() },
	// ines is a manager beside nia.
	"ines": func(w *world) { w.managed() },
	// Every lock of bin 3 is taken off by its holder.
	"bin-unlocked": func(w *world) {
		for _, ref := range slices.Sorted(maps.Keys(w.s.Holds)) {
			w.must(w.journal("eastfork", w.s.Holds[ref].Holder, actRelease(ref)))
		}
	},
	// The air of bin 3 is tested at its three levels, by ravi.
	"air-tested": func(w *world) { w.testAir() },
	// And phosphine too, of which there is none.
	"fumigant-tested": func(w *world) { w.testAir(values(ph3, 0)...) },
}

// Known: a code of the ledger's table, or the name of an alarm.
func (p *played) Known(c string) bool {
	_, ok := code.Code(c).Row()
	return ok || slices.Contains([]string{"STOPPED"}, c)
}

func (p *played) Now() int64 { return p.now }

func (p *played) Pass(d time.Duration) error {
	p.now += d.Milliseconds()
	return nil
}

func (p *played) Mark() (story.Mark, error) { return story.Mark{Size: p.s.Size(), Time: p.now}, nil }

func (p *played) Bytes(kind, field, text string) ([]byte, error) {
	switch field {
	case "key", "once_key":
		k := key(text)
		p.made[string(pub(k))] = k
		return pub(k), nil
	case "text":
		return []byte(text), nil
	case "text_hash":
		h := sha256.Sum256([]byte(text))
		return h[:], nil
	}
	return nil, fmt.Errorf("no text stands for the %s of %s", field, kind)
}

func (p *played) Proofs(job string) ([]*recordv1.Reading, error) {
	j := p.s.Jobs[job]
	if j == nil {
		return nil, fmt.Errorf("there is no job %s", job)
	}
	proofs, err := p.s.Graph().Proofs(j.Zone, j.Plan...)
	var out []*recordv1.Reading
	for _, x := range proofs {
		out = append(out, &recordv1.Reading{Job: job, Part: x.Part, Medium: x.Medium, Kind: x.Kind})
	}
	return out, err
}

func (p *played) Drawing(yard string) (*recordv1.Drawing, error) {
	if y := p.s.Drawings[yard]; y != nil {
		d := &recordv1.Drawing{}
		return d, proto.Unmarshal(y.Bytes, d)
	}
	return nil, nil
}

// complete fills in what a screen fills in for its reader.
func (p *played) complete(r *recordv1.Record) {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Isolate:
		if a.Isolate.Moved == nil {
			a.Isolate.Moved = p.moved(a.Isolate.GetPoint())
		}
	case *recordv1.Record_Closed:
		if a.Closed.Moved == nil {
			a.Closed.Moved = p.moved(a.Closed.GetPoint())
		}
	case *recordv1.Record_StandClear:
		if q := p.s.Reqs[a.StandClear.GetRequest()]; a.StandClear.Asked == 0 && q != nil {
			a.StandClear.Asked = q.By.Index
		}
	case *recordv1.Record_WalkDrawing:
		if d := p.s.Drawings[a.WalkDrawing.GetYard()]; a.WalkDrawing.DrawingHash == nil && d != nil {
			h := sha256.Sum256(d.Bytes)
			a.WalkDrawing.Revision, a.WalkDrawing.DrawingHash = d.Revision, h[:]
		}
	}
}

func (p *played) moved(point string) *recordv1.Moved {
	if x := p.s.Points[point]; x != nil {
		return &recordv1.Moved{Epoch: x.Moved.Epoch, Seq: x.Moved.Seq}
	}
	return nil
}

func (p *played) Sign(a *story.Act) (any, error) {
	p.complete(a.Record)
	if p.keys[a.Signer] == nil {
		if a.Record.GetJoin() == nil {
			return nil, fmt.Errorf("%s has no key here", a.Signer)
		}
		p.keys[a.Signer] = key(a.Signer)
	}
	r := p.record(a.Signer, a.Record)
	if a.Captured != 0 {
		r.CapturedUnixMs = a.Captured
	}
	var keys []ed25519.PrivateKey
	for _, k := range a.SignedBy {
		keys = append(keys, key(k))
	}
	if len(keys) == 0 {
		keys = append(keys, p.keys[a.Signer])
		people, newKey := ledger.CountersignersOf(r)
		for _, c := range people {
			if p.keys[c] == nil {
				p.keys[c] = key(c)
			}
			keys = append(keys, p.keys[c])
		}
		if newKey != nil {
			keys = append(keys, p.keyOf(newKey))
		}
	}
	return kept{r, signed(p.t, seal.RecordDomain, marshal(p.t, r), keys...)}, nil
}

// keyOf is the private half of a key that the story named.
func (p *played) keyOf(public []byte) ed25519.PrivateKey { return p.made[string(public)] }

// kept is a record that was signed and not sent.
type kept struct {
	record *recordv1.Record
	signed []byte
}

func (p *played) Do(a *story.Act) (story.Answer, error) {
	p.now -= a.Ago.Milliseconds()
	s, err := p.Sign(a)
	p.now += a.Ago.Milliseconds()
	if err != nil {
		return story.Answer{}, err
	}
	return p.Send(a, s)
}

func (p *played) Send(a *story.Act, signed any) (story.Answer, error) {
	k := signed.(kept)
	if a.At == "" && ledger.KindFor(k.record).Way == ledger.Direct {
		if a.Behind != nil || a.Ago != 0 || a.Grant != 0 {
			return story.Answer{}, fmt.Errorf("a %s goes straight to the quorum: it is behind no yard", ledger.KindOf(k.record))
		}
		o := p.put(ledger.DirectEntry(k.signed))
		p.changed(k.record, o)
		return story.Taken(o), p.restart()
	}
	yard := a.At
	if yard == "" {
		yard = p.home(k.record)
	}
	if a.Behind != nil {
		p.basedOn[yard] = *a.Behind
		defer delete(p.basedOn, yard)
	}
	p.now -= a.Ago.Milliseconds()
	defer func() { p.now += a.Ago.Milliseconds() }()
	o := p.envelope(yard, &recordv1.Envelope{Grant: a.Grant, Promised: a.Promised, Body: &recordv1.Envelope_Signed{Signed: k.signed}})
	return story.Taken(o), p.restart()
}

// restart goes on from the state as it is written down: what a story rests on must
// all be in a snapshot (decisions.md 26).
func (p *played) restart() error {
	again, err := ledger.Restore(p.s.AppendCanonical(nil))
	if err == nil {
		p.s = again
	}
	return err
}

// home is the yard of the point that a record names first, or where the story is.
func (p *played) home(r *recordv1.Record) string {
	var point string
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Lock:
		point = a.Lock.GetTarget().GetPoint() + a.Lock.GetTarget().GetBox()
	case *recordv1.Record_Isolate:
		point = a.Isolate.GetPoint()
	case *recordv1.Record_Closed:
		point = a.Closed.GetPoint()
	case *recordv1.Record_FoundClosed:
		point = a.FoundClosed.GetPoint()
	case *recordv1.Record_Energise:
		point = a.Energise.GetPoint()
	}
	if y := ledger.YardOf(point); p.s.Yards[y] != nil {
		return y
	}
	return p.here
}

// changed has people sign with their new keys from now on.
func (p *played) changed(r *recordv1.Record, o *recordv1.Outcome) {
	if !o.GetAccepted() {
		return
	}
	switch a := r.GetAct().(type) {
	case *recordv1.Record_ReplaceKey:
		p.keys[r.GetSigner()] = p.keyOf(a.ReplaceKey.GetKey())
	case *recordv1.Record_ReissueKey:
		p.keys[a.ReissueKey.GetPerson()] = p.keyOf(a.ReissueKey.GetKey())
	case *recordv1.Record_RecoverYard:
		y := a.RecoverYard.GetYard()
		p.keys[y], p.last[y] = p.keyOf(a.RecoverYard.GetKey()), nil
	}
}

func (p *played) Confirm(yard, request string, behind *uint64) ([]story.Answer, error) {
	yards := []string{yard}
	if yard == "every" {
		q := p.s.Reqs[request]
		if q == nil {
			return nil, fmt.Errorf("there is no request %s", request)
		}
		yards = slices.Clone(q.Involved)
	}
	var out []story.Answer
	for _, y := range yards {
		if behind != nil {
			p.basedOn[y] = *behind
		}
		out = append(out, story.Taken(p.fence(y, request)))
		delete(p.basedOn, y)
	}
	return out, p.restart()
}

func (p *played) Ask(what string, args []string) (story.Answer, error) {
	if len(args) == 0 {
		args = []string{""}
	}
	about := args[0]
	missing := func(cs []*recordv1.Finding, says string) (story.Answer, error) {
		a := story.Answer{Conditions: story.Missing(cs)}
		if len(cs) == 0 {
			a.Says = says
		}
		return a, nil
	}
	none := func() (story.Answer, error) { return story.Answer{}, fmt.Errorf("there is no %s %s", what, about) }
	switch what {
	case "work": // may work on a job start?
		if j := p.s.Jobs[about]; j != nil {
			return missing(p.s.MissingForWork(j), "may start")
		}
	case "start": // would a request to energise a job's points be taken?
		if p.s.Jobs[about] != nil {
			return missing(p.s.JobView(about, p.now).GetToEnergise(), "may be asked for")
		}
	case "stage":
		if j := p.s.Jobs[about]; j != nil {
			return story.Answer{Says: story.Word(p.s.StageOf(j), "STAGE_")}, nil
		}
	case "hold":
		if h := p.s.Holds[about]; h != nil {
			return story.Answer{Says: map[bool]string{true: "on", false: "off"}[h.Active()], Conditions: findings(p.s.HoldView(h).GetFlags(), p.s.HoldView(h).GetStanding())}, nil
		}
	case "holder":
		if h := p.s.Holds[about]; h != nil {
			return story.Answer{Says: h.Holder}, nil
		}
	case "inside": // is a sign-on still on?
		if so := p.s.SignOns[about]; so != nil {
			return story.Answer{Says: map[bool]string{true: "off", false: "on"}[so.Off.Set()]}, nil
		}
	case "asked": // how far a request is
		if q := p.s.Reqs[about]; q != nil {
			return story.Answer{Says: story.Word(q.State, "REQUEST_STATE_")}, nil
		}
	case "point":
		if p.s.Points[about] != nil {
			return story.Answer{Says: story.Word(p.s.PointView(about).GetPosition(), "POSITION_")}, nil
		}
	case "permit":
		if v := p.s.PermitView(about, p.now); v != nil {
			return story.Answer{Says: story.Word(v.GetState(), "PERMIT_STATE_"), Conditions: story.Missing(v.GetMissing())}, nil
		}
	case "retrain": // the zones that somebody is to be retrained on
		if x := p.s.People[about]; x != nil {
			a := story.Answer{}
			for _, z := range slices.Sorted(maps.Keys(x.Retrain)) {
				a.Conditions = append(a.Conditions, story.Finding{Code: "RETRAIN", Subject: z})
			}
			return a, nil
		}
	case "alarms":
		a := story.Answer{Says: map[bool]string{true: "none", false: "some"}[len(p.s.Alarms) == 0]}
		for _, x := range p.s.Alarms {
			a.Conditions = append(a.Conditions, story.Finding{Code: x.Code, Subject: x.Subject})
		}
		return a, nil
	default:
		return story.Answer{}, fmt.Errorf("there is no act and no question %s", what)
	}
	return none()
}

func findings(flags ...[]*recordv1.Finding) (out []story.Finding) {
	for _, fs := range flags {
		for _, f := range fs {
			out = append(out, story.Finding{Code: f.GetCode(), Subject: f.GetSubject()})
		}
	}
	return out
}
