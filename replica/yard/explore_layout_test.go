package yard

import (
	"crypto/sha256"
	"slices"
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// layOut makes the ledger that a configuration begins with, and its yards, all
// of one mind. Job j1 is what requests are made for; locks are hung for job jx, on
// a zone that no request reaches, so that only the lock itself stands against
// them; people sign on for job j2, in eastfork's pit, which owes nothing until they do.
// With two names they sign on by the sump, which nothing reaches on the drawing but by
// the grain that it has in common with the pit.
func layOut(t testing.TB, b *bounds) *world {
	w := &world{t: t, s: ledger.New(), now: 1_790_000_000_000, yards: map[string]*site{}}
	f := &recordv1.Founding{Coop: "Three Forks Grain Co-op", Nonce: make([]byte, 32), CreatedUnixMs: w.now, ManagerKey: public("mia"),
		Yard:    &recordv1.YardInfo{Id: "eastfork", Name: "East Fork", Address: "localhost:1", ReplicaKey: public("eastfork")},
		Manager: &recordv1.Person{Id: "mia", Name: "Mia", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER, recordv1.Role_ROLE_SUPERVISOR}}}
	w.must(w.commit(ledger.FoundingEntry(signWith(t, seal.FoundingDomain, marshal(t, f), "mia", "eastfork"))))
	others := []string{"millrow"}
	if b.third {
		others = append(others, "stonebend")
	}
	for _, id := range others {
		w.enrol(&recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: id, Name: id}}}, id, "localhost:2")
	}
	for _, p := range []string{"wanda", "walt"} {
		w.person(p, recordv1.Role_ROLE_AUTHORISED)
	}
	w.person("abe", recordv1.Role_ROLE_AFFECTED)
	if b.managers {
		w.person("ines", recordv1.Role_ROLE_MANAGER)
	}
	east := eastforkDrawing()
	if b.names {
		air := &recordv1.ExposedPart{Node: "sump", Media: []recordv1.Medium{recordv1.Medium_MEDIUM_AIR}}
		east.Nodes = append(east.Nodes, node("sump", recordv1.NodeKind_NODE_KIND_BUS))
		east.Zones[0].Parts = append(east.Zones[0].Parts, air)
		east.Zones = append(east.Zones, &recordv1.Zone{Name: "sump", Parts: []*recordv1.ExposedPart{air}})
	}
	w.publish(east)
	d := millrowDrawing()
	if !b.shaft {
		d.Links = d.Links[:1]
	}
	w.publish(d)
	if b.trims > 0 {
		d := millrowDrawing()
		d.Revision, d.Links = 2, d.Links[:1]
		w.publish(d)
		w.walked()
	}
	where := box
	if b.third {
		where = shed
	}
	w.direct("mia", says("register-box %s", where))
	for _, id := range append([]string{"eastfork"}, others...) {
		w.yards[id] = w.newSite(id)
	}
	w.level()
	for _, j := range [][]string{{"j1", "millrow/gallery", leg, belt}, {"j2", b.inside(), leg, belt}, {"jx", "eastfork/tunnel", drag}} {
		w.yards["eastfork"].job(j[0], j[1], j[2:]...)
	}
	for _, p := range []string{leg, belt} {
		if !slices.Contains(b.live, p) {
			w.yards[ledger.YardOf(p)].open(p)
		}
	}
	w.level()
	for _, p := range b.boxed {
		if _, err := w.yards[ledger.YardOf(where)].boxAct(true, where, p); err != nil {
			t.Fatal(err)
		}
	}
	w.clear("j1")
	if b.guarded {
		for _, p := range []string{leg, belt} {
			w.yards[ledger.YardOf(p)].note("walt", lockOf(onPoint(p)))
		}
	}
	w.level()
	for _, st := range w.yards { // begin with short journals
		if h, keep, ok := st.y.compaction(st.y.drained()); ok {
			st.y.Compacted(h)
			st.h, st.disk = h, keep
		}
	}
	return w
}

// inside is the zone that people sign on to: eastfork's pit, or its second name.
func (b *bounds) inside() string {
	if b.names {
		return "eastfork/sump"
	}
	return "eastfork/pit"
}

// walked has the current drawings compared with the steel, by somebody qualified.
func (w *world) walked() {
	w.enrol(&recordv1.Invite{Whom: &recordv1.Invite_Person{Person: &recordv1.Person{Id: "quill", Name: "quill", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}, Qualified: true, TrainedUntilUnixMs: w.now + 1e12}}}, "quill", "")
	for _, id := range sorted(w.s.Drawings) {
		sum := sha256.Sum256(w.s.Drawings[id].Bytes)
		w.direct("quill", func(r *recordv1.Record) {
			r.Act = &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: id, Revision: w.s.Drawings[id].Revision, DrawingHash: sum[:]}}
		})
	}
}

// level drains and shows until every yard has everything.
func (w *world) level() {
	for range 4 {
		for _, id := range []string{"eastfork", "millrow", "stonebend"} {
			if st := w.yards[id]; st != nil {
				st.drain()
				st.catchUp()
			}
		}
	}
}

func lockOf(t *recordv1.Target) func(*recordv1.Record) {
	return says("lock %s job=jx", t)
}
