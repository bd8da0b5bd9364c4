package faults_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand"
	"net"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/token"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/replica"
)

// template is a ledger with three voting yards, people, a point, a drawing and a
// job at each yard. Every scenario begins on a copy of it.
type template struct {
	dirs  map[string]string
	id    []byte
	known []client.Yard
}

const (
	manager = "nia"
	// age is how long the template is left alone before a scenario begins: its
	// bubble's clock began at the same time as the scenario's.
	age = time.Hour
)

// workers lock and release; each sits at one yard.
var workers = map[string]string{"ravi": "stonebend", "lena": "millrow", "dov": "eastfork"}

func point(yard string) string { return yard + "/panel-1/leg-1" }
func job(yard string) string   { return "boot-" + yard }

func makeTemplate(t *testing.T) *template {
	var tpl *template
	root := t.TempDir()
	synctest.Test(t, func(t *testing.T) {
		w := newWorld(t, rand.New(rand.NewSource(1)))
		ctx, cancel := context.WithTimeout(t.Context(), age/2)
		defer cancel()
		err := w.found(ctx)
		for _, y := range yards {
			err = errors.Join(err, w.stop(y))
		}
		w.end()
		tpl = &template{dirs: map[string]string{}, id: w.id, known: w.known}
		for _, y := range yards {
			if err == nil {
				tpl.dirs[y] = filepath.Join(root, y)
				err = copyDir(tpl.dirs[y], w.dirs[y])
			}
		}
		if err != nil {
			t.Fatal(err)
		}
	})
	return tpl
}

// use puts a copy of the template under a world.
func (w *world) use(tpl *template) error {
	w.id, w.known = tpl.id, slices.Clone(tpl.known)
	for _, y := range yards {
		w.dirs[y] = filepath.Join(w.root, y)
		if err := copyDir(w.dirs[y], tpl.dirs[y]); err != nil {
			return err
		}
	}
	return nil
}

// founder founds the template's co-op, step by step. The first error ends all of it.
type founder struct {
	w   *world
	ctx context.Context
	nia *client.Client
	err error
}

// found makes a co-op of three yards, with its people, points, boxes, drawings and jobs.
func (w *world) found(ctx context.Context) error {
	first := yards[0]
	w.dirs[first] = filepath.Join(w.root, first)
	id, err := replica.Found(replica.Founding{Dir: w.dirs[first], Coop: "Three Forks Grain Co-op", Yard: first, YardName: first,
		Listen: at(first), Address: at(first), Timers: "lan", ManagerKey: testKey(manager),
		Manager: &recordv1.Person{Id: manager, Name: manager, Roles: allRoles, Qualified: true, TrainedUntilUnixMs: trainedUntil()}}, time.Now())
	if err != nil {
		return err
	}
	w.id = id
	if err := errors.Join(w.meet(first), w.start(first)); err != nil {
		return err
	}
	f := &founder{w: w, ctx: ctx, nia: w.as(manager, first, "template")}
	defer func() { f.nia.Close() }()
	f.until(func() bool {
		b, err := f.nia.Board(ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		return err == nil && b.GetCoop() != ""
	})
	for _, y := range yards[1:] {
		f.addYard(y)
	}
	f.until(func() bool {
		m, err := f.nia.Members(ctx, "")
		return err == nil && m.GetVoters() == 3 && m.GetHasQuorum()
	})
	f.nia.Close()
	f.nia = w.as(manager, first, "template-2")
	for _, p := range slices.Sorted(maps.Keys(workers)) {
		f.addPerson(p, recordv1.Role_ROLE_AUTHORISED)
	}
	for _, p := range managers {
		f.addPerson(p, allRoles...)
	}
	for _, y := range yards {
		f.furnish(y)
	}
	if f.err == nil {
		f.err = pause(ctx, 10*time.Second) // every yard hears of all of it
	}
	return f.err
}

var allRoles = []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR, recordv1.Role_ROLE_AUTHORISED}

func trainedUntil() int64 { return time.Now().Add(1000 * time.Hour).UnixMilli() }

// until waits for something to be so.
func (f *founder) until(is func() bool) {
	for f.err == nil && !is() {
		f.err = pause(f.ctx, time.Second)
	}
}

// do records something, again while nobody can be reached.
func (f *founder) do(rec *recordv1.Record) {
	for f.err == nil {
		_, err := f.nia.Submit(f.ctx, rec)
		var far *client.Unreachable
		if errors.As(err, &far) && pause(f.ctx, time.Second) == nil {
			continue
		}
		if err != nil {
			f.err = fmt.Errorf("%T: %w", rec.GetAct(), err)
		}
		return
	}
}

func (f *founder) invite(kind, id string, inv *recordv1.Invite) *token.Token {
	t := f.w.invitation(kind, id, inv)
	f.do(&recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}})
	return t
}

func (f *founder) dial(ctx context.Context, address string) (net.Conn, error) {
	return f.w.net.dial(ctx, yards[0], address)
}

func (f *founder) addYard(y string) {
	text, err := token.Encode(f.invite(token.Yard, y, forYard(y)))
	if f.err = errors.Join(f.err, err); f.err != nil {
		return
	}
	f.w.dirs[y] = filepath.Join(f.w.root, y)
	if _, f.err = replica.Join(f.ctx, replica.Joining{Dir: f.w.dirs[y], Listen: at(y), Address: at(y), Timers: "lan", Token: text, Dial: f.dial}); f.err == nil {
		f.err = errors.Join(f.w.meet(y), f.w.start(y))
	}
}

func (f *founder) addPerson(p string, roles ...recordv1.Role) {
	t := f.invite(token.Person, p, &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: p, Name: p, Roles: roles, TrainedUntilUnixMs: trainedUntil()}}})
	if f.err == nil {
		_, f.err = client.JoinPerson(f.ctx, t, testKey(p), client.WithDialer(f.dial))
	}
}

// furnish gives a yard its point, open, its box, its drawing and its job.
func (f *founder) furnish(y string) {
	f.do(&recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: point(y), Holes: 6}}})
	f.do(&recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: box(y), Holes: 6}}})
	drawing, err := proto.Marshal(drawn(y))
	f.err = errors.Join(f.err, err)
	f.do(&recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: drawing}}})
	f.do(&recordv1.Record{Act: &recordv1.Record_OpenJob{OpenJob: &recordv1.OpenJob{Id: job(y), Zone: y + "/boot", Plan: []string{point(y)},
		Responsible: "ravi", Crew: []string{"lena", "dov"}, Affected: []string{manager}, Purpose: "clear the plugged boot"}}})
	f.do(&recordv1.Record{Act: &recordv1.Record_Isolate{Isolate: &recordv1.Isolate{Point: point(y)}}})
}

func forYard(y string) *recordv1.Invite {
	return &recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: y, Name: y}}}
}

// invitation fills in an invitation, and makes the token for it.
func (w *world) invitation(kind, id string, inv *recordv1.Invite) *token.Token {
	once := testKey("once " + id)
	inv.Id, inv.OnceKey, inv.ExpiresUnixMs = "inv-"+id, public(once), time.Now().Add(age).UnixMilli()
	t := &token.Token{Ledger: w.id, Coop: "Three Forks Grain Co-op", Kind: kind, ID: id, Invitation: inv.Id, Seed: once.Seed(), ExpiresUnixMs: inv.ExpiresUnixMs}
	for _, y := range w.known {
		t.Yards = append(t.Yards, token.Peer{ID: y.ID, Address: y.Address, Key: y.Key})
	}
	return t
}

// drawn is a motor fed through the yard's one point.
func drawn(yard string) *recordv1.Drawing {
	el := recordv1.Medium_MEDIUM_ELECTRICITY
	return &recordv1.Drawing{Yard: yard, Revision: 1, Title: yard,
		Nodes: []*recordv1.Node{{Name: "service", Kind: recordv1.NodeKind_NODE_KIND_SOURCE, Label: "480 V service"}, {Name: "motor", Kind: recordv1.NodeKind_NODE_KIND_MACHINE}},
		Links: []*recordv1.Link{{Name: "feed", From: "service", To: "motor", Medium: el,
			Device: &recordv1.Device{Kind: recordv1.DeviceKind_DEVICE_KIND_BREAKER, Panel: "panel-1", Device: "leg-1", Lockable: true, Holes: 6}}},
		Zones: []*recordv1.Zone{{Name: "boot", Parts: []*recordv1.ExposedPart{{Node: "motor", Media: []recordv1.Medium{el}}}}}}
}

// meet puts a yard into the profiles of all clients made from now on.
func (w *world) meet(yard string) error {
	pub, err := replica.PublicKey(w.dirs[yard])
	w.known = append(w.known, client.Yard{ID: yard, Name: yard, Address: at(yard), Key: pub})
	return err
}

// pass lets time go by. It is the bubble's time: it costs none, and it is over only
// when nothing is left to do before it, on any machine.
func pass(d time.Duration) { time.Sleep(d) }

// pause is pass, until ctx ends.
func pause(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
