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

func (w *world) found(ctx context.Context) error {
	first := yards[0]
	until := time.Now().Add(1000 * time.Hour).UnixMilli()
	roles := []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR, recordv1.Role_ROLE_AUTHORISED}
	w.dirs[first] = filepath.Join(w.root, first)
	id, err := replica.Found(replica.Founding{Dir: w.dirs[first], Coop: "Three Forks Grain Co-op", Yard: first, YardName: first,
		Listen: at(first), Address: at(first), Timers: "lan", ManagerKey: testKey(manager),
		Manager: &recordv1.Person{Id: manager, Name: manager, Roles: roles, Qualified: true, TrainedUntilUnixMs: until}}, time.Now())
	if err != nil {
		return err
	}
	w.id = id
	if err := errors.Join(w.meet(first), w.start(first)); err != nil {
		return err
	}
	nia := w.as(manager, first, "template")
	defer func() { nia.Close() }()
	do := func(rec *recordv1.Record) {
		for err == nil {
			if _, e := nia.Submit(ctx, rec); e != nil {
				var far *client.Unreachable
				if errors.As(e, &far) && pause(ctx, time.Second) == nil {
					continue
				}
				err = fmt.Errorf("%T: %w", rec.GetAct(), e)
			}
			return
		}
	}
	for err == nil {
		b, e := nia.Board(ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		if e == nil && b.GetCoop() != "" {
			break
		}
		err = pause(ctx, time.Second)
	}
	invite := func(kind, id string, inv *recordv1.Invite) *token.Token {
		t := w.invitation(kind, id, inv)
		do(&recordv1.Record{Act: &recordv1.Record_Invite{Invite: inv}})
		return t
	}
	dial := func(ctx context.Context, address string) (net.Conn, error) { return w.net.dial(ctx, first, address) }
	for _, y := range yards[1:] {
		text, e := token.Encode(invite(token.Yard, y, forYard(y)))
		if err = errors.Join(err, e); err != nil {
			return err
		}
		w.dirs[y] = filepath.Join(w.root, y)
		if _, err := replica.Join(ctx, replica.Joining{Dir: w.dirs[y], Listen: at(y), Address: at(y), Timers: "lan", Token: text, Dial: dial}); err != nil {
			return err
		}
		if err := errors.Join(w.meet(y), w.start(y)); err != nil {
			return err
		}
	}
	for err == nil {
		m, e := nia.Members(ctx, "")
		if e == nil && m.GetVoters() == 3 && m.GetHasQuorum() {
			break
		}
		err = pause(ctx, time.Second)
	}
	nia.Close()
	nia = w.as(manager, first, "template-2")
	for _, p := range slices.Sorted(maps.Keys(workers)) {
		t := invite(token.Person, p, &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: p, Name: p,
			Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}, TrainedUntilUnixMs: until}}})
		if err == nil {
			_, err = client.JoinPerson(ctx, t, testKey(p), client.WithDialer(dial))
		}
	}
	for _, p := range managers {
		t := invite(token.Person, p, &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: p, Name: p, Roles: roles, TrainedUntilUnixMs: until}}})
		if err == nil {
			_, err = client.JoinPerson(ctx, t, testKey(p), client.WithDialer(dial))
		}
	}
	for _, y := range yards {
		do(says("register-point %s", point(y)))
		do(says("register-box %s", box(y)))
		drawing, e := proto.Marshal(drawn(y))
		err = errors.Join(err, e)
		do(&recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: drawing}}})
		do(says("open-job %s %s/boot %s", job(y), y, point(y)))
		do(says("isolate %s", point(y)))
	}
	if err == nil {
		err = pause(ctx, 10*time.Second) // every yard hears of all of it
	}
	return err
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
