package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/energy"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (s *State) addPerson(p *recordv1.Person, key []byte, at Mark) {
	s.People[p.GetId()] = &Person{
		ID: p.GetId(), Name: p.GetName(), Employer: p.GetEmployer(), Roles: slices.Clone(p.GetRoles()),
		Qualified: p.GetQualified(), TrainedUntil: p.GetTrainedUntilUnixMs(), Enrolled: at,
	}
	s.Keys[seal.Fingerprint(key)] = &Key{Public: key, Person: p.GetId(), Since: at.Index}
}

func (s *State) addYard(y *recordv1.YardInfo, at Mark) {
	s.Yards[y.GetId()] = &Yard{ID: y.GetId(), Name: y.GetName(), Address: y.GetAddress(), Key: y.GetReplicaKey(), Epoch: 1, Joined: at}
	s.Keys[seal.Fingerprint(y.GetReplicaKey())] = &Key{Public: y.GetReplicaKey(), Yard: y.GetId(), Since: at.Index}
}

func (x *step) invite(i *recordv1.Invite) {
	s := x.s
	if s.Invites[i.GetId()] != nil {
		x.refuse("EXISTS", i.GetId(), "an invitation with this id exists", "choose another id", x.who.ID, "")
	}
	if id := i.GetPerson().GetId() + i.GetYard().GetId(); i.GetPerson() != nil && s.Yards[id] != nil || i.GetYard() != nil && s.People[id] != nil {
		x.refuse("EXISTS", id, "a person and a yard can't have one name: what is said to be by one would be read as by the other", "choose another id", x.who.ID, "")
	}
	if id := i.GetPerson().GetId(); id != "" && s.People[id] != nil {
		x.refuse("EXISTS", id, "this person is enrolled already", "revoke their key first if they lost it", "a manager", "")
	}
	if id := i.GetYard().GetId(); id != "" && s.Yards[id] != nil {
		x.refuse("EXISTS", id, "this yard has joined already", "", "", "")
	}
	if i.GetExpiresUnixMs() <= s.Time {
		x.refuse("EXPIRED", i.GetId(), "the invitation would be over before it begins", "choose a later end", x.who.ID, "")
	}
	if x.refused() {
		return
	}
	raw := mustMarshal(i)
	s.Invites[i.GetId()] = &Invitation{ID: i.GetId(), Whom: raw, Expires: i.GetExpiresUnixMs(), By: x.mark}
	name := i.GetPerson().GetId()
	if name == "" {
		name = "yard " + i.GetYard().GetId()
	}
	x.change("%s invited %s", x.who.ID, name)
}

// join redeems an invitation: the new key and the one-time key both signed.
func (x *step) join(j *recordv1.Join) {
	s := x.s
	inv := s.Invites[j.GetInvitation()]
	if inv == nil {
		x.refuse("UNKNOWN_INVITATION", j.GetInvitation(), "there is no such invitation in this ledger", "ask a manager for one", "a manager", "")
		return
	}
	var i recordv1.Invite
	if err := proto.Unmarshal(inv.Whom, &i); err != nil {
		x.refuse("MALFORMED", j.GetInvitation(), "the invitation can't be read", "ask for a new one", "a manager", "")
		return
	}
	signed := func(key []byte) bool {
		return slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, key) })
	}
	id := i.GetPerson().GetId() + i.GetYard().GetId()
	switch {
	case inv.Used:
		x.refuse("INVITATION_USED", inv.ID, "the invitation was used before", "ask for a new one", "a manager", "")
	case s.Time >= inv.Expires:
		x.refuse("EXPIRED", inv.ID, "the invitation is over", "ask for a new one", "a manager", "")
	case !signed(i.GetOnceKey()) || !signed(j.GetKey()):
		x.refuse("BAD_SIGNATURE", inv.ID, "joining is signed by the invitation's one-time key and by the new key", "use the whole token", "", "")
	case bytes.Equal(i.GetOnceKey(), j.GetKey()):
		x.refuse("BAD_SIGNATURE", inv.ID, "the one-time key can't become a person's or yard's own key", "make a new key", "", "")
	case s.KeyOf(j.GetKey()) != nil:
		x.refuse("KEY_IN_USE", fingerprintShort(j.GetKey()), "this key is enrolled already", "make a new key", "", "")
	case x.rec.GetSigner() != id:
		x.refuse("NOT_THE_SIGNER", x.rec.GetSigner(), fmt.Sprintf("the invitation is for %q", id), "sign as "+id, "", "")
	case s.LiveKey(inv.By.By) == nil:
		x.refuse("INVITER_REVOKED", inv.ID, "the key of "+inv.By.By+", who invited, was revoked", "ask another manager for a new one", "a manager", "")
	case s.People[id] != nil, s.Yards[id] != nil:
		x.refuse("EXISTS", id, "it has joined already", "", "", "")
	case i.GetYard() != nil && j.GetAddress() == "":
		x.refuse("MALFORMED", id, "a yard joins with the address of its replica", "give host:port", "", "")
	}
	if x.refused() {
		return
	}
	inv.Used = true
	s.end("invite", inv.ID)
	x.mark.By = id
	if y := i.GetYard(); y != nil {
		y.Address, y.ReplicaKey = j.GetAddress(), j.GetKey()
		s.addYard(y, x.mark)
		x.change("yard %s joined at %s", id, j.GetAddress())
		return
	}
	s.addPerson(i.GetPerson(), j.GetKey(), x.mark)
	x.change("%s enrolled", id)
}

func (x *step) registerPoint(p *recordv1.RegisterPoint) {
	s := x.s
	yard := YardOf(p.GetPoint())
	switch {
	case s.Points[p.GetPoint()] != nil:
		x.refuse("EXISTS", p.GetPoint(), "this point is registered already", "", "", "")
	case s.Yards[yard] == nil:
		x.refuse("UNKNOWN_YARD", yard, "no yard of this name has joined", "name the point yard/panel/device", x.who.ID, "")
	default:
		s.addPoint(p.GetPoint(), p.GetHoles(), p.GetLabel())
		x.change("point %s registered: it counts as live until it is opened", p.GetPoint())
	}
}

func (s *State) addPoint(id string, holes uint32, label string) {
	s.Points[id] = &Point{ID: id, Yard: YardOf(id), Holes: max(holes, 1), Label: label, Live: true}
}

func (x *step) registerBox(b *recordv1.RegisterBox) {
	s := x.s
	yard := YardOf(b.GetBox())
	switch {
	case s.Boxes[b.GetBox()] != nil:
		x.refuse("EXISTS", b.GetBox(), "this box is registered already", "", "", "")
	case s.Yards[yard] == nil:
		x.refuse("UNKNOWN_YARD", yard, "no yard of this name has joined", "name the box yard/box", x.who.ID, "")
	default:
		s.Boxes[b.GetBox()] = &Box{ID: b.GetBox(), Yard: yard, Label: b.GetLabel(), Holes: max(b.GetHoles(), 1), Points: map[string]Mark{}}
		x.change("box %s registered, empty", b.GetBox())
	}
}

func (x *step) revokeKey(r *recordv1.RevokeKey) {
	k := x.s.KeyOf(r.GetKey())
	if k == nil || k.Person != r.GetPerson() || k.Person == "" {
		x.refuse("UNKNOWN_KEY", r.GetPerson(), "this key is not one of theirs", "read the fingerprint again", x.who.ID, "")
		return
	}
	if k.Revoked > 0 {
		x.refuse("KEY_REVOKED", r.GetPerson(), "this key is revoked already", "", "", "")
		return
	}
	managers := 0
	for _, id := range sorted(x.s.People) {
		if p := x.s.People[id]; p.Has(manager) && id != r.GetPerson() && x.s.LiveKey(id) != nil {
			managers++
		}
	}
	if x.s.People[r.GetPerson()].Has(manager) && managers == 0 {
		x.refuse("LAST_MANAGER", r.GetPerson(), "this is the last manager's key: nobody could invite anyone again", "enrol another manager first", "", "")
		return
	}
	k.Revoked = max(x.mark.Index, 1)
	x.change("key %s of %s revoked: what it signed before stays valid", fingerprintShort(k.Public), k.Person)
}

// publishDrawing makes a revision current. It voids what was asked for on the
// old one, and the set of points that may reach a zone only grows by it: it
// shrinks in the zone yard's own journal alone (decisions.md 9, narrowZone).
func (x *step) publishDrawing(p *recordv1.PublishDrawing) {
	s := x.s
	var d recordv1.Drawing
	if err := proto.Unmarshal(p.GetDrawing(), &d); err != nil || hasUnknown(d.ProtoReflect()) {
		x.refuse("MALFORMED", "drawing", "the drawing can't be read", "publish it with a client of this release", x.who.ID, "")
		return
	}
	yard := d.GetYard()
	if s.Yards[yard] == nil {
		x.refuse("UNKNOWN_YARD", yard, "no yard of this name has joined", "correct the drawing's yard", x.who.ID, "")
		return
	}
	want := uint32(1)
	if old := s.Plans[yard]; old != nil {
		want = old.Revision + 1
	}
	if d.GetRevision() != want {
		x.refuse("REVISION", yard, fmt.Sprintf("the drawing says revision %d, the next one is %d", d.GetRevision(), want), "compare with the current drawing, then number it", x.who.ID, "")
		return
	}
	all := []*recordv1.Drawing{}
	for _, y := range sorted(s.Plans) {
		if y != yard {
			if o, err := s.Plans[y].Drawing(); err == nil {
				all = append(all, o)
			}
		}
	}
	for _, pr := range energy.Check(&d, all) {
		if !pr.Warning {
			x.refuse("DRAWING", pr.Field, pr.Text, "correct the drawing", x.who.ID, "")
		}
		if len(x.out.Conditions) >= 50 {
			break
		}
	}
	if x.refused() {
		return
	}
	sum := sha256.Sum256(p.GetDrawing())
	before, drawn := s.isolations(), s.Graph()
	old := s.Plans[yard]
	s.Plans[yard] = &Drawing{Yard: yard, Revision: d.GetRevision(), Bytes: p.GetDrawing(), Hash: hex.EncodeToString(sum[:]), Recorded: x.mark}
	if old != nil {
		s.Plans[yard].Suspect, s.Plans[yard].Mended = old.Suspect, old.Mended
	}
	if err := s.redraw(); err != nil {
		s.Plans[yard] = old
		if old == nil {
			delete(s.Plans, yard)
		}
		_ = s.redraw()
		x.refuse("DRAWING", yard, err.Error(), "correct the drawing", x.who.ID, "")
		return
	}
	for _, pt := range s.graph.Points() {
		if s.Points[pt.ID] == nil && s.Yards[pt.Yard] != nil {
			s.addPoint(pt.ID, pt.Holes, pt.Label)
		}
	}
	tied := s.places
	s.remember()
	s.joinPlaces()
	s.widen(tied)
	x.change("drawing of %s revision %d is current; it supports work once a qualified person has walked it", yard, d.GetRevision())
	x.isolationChanged(before, yard, d.GetRevision())
	x.renamed(drawn, d.GetRevision())
	for _, id := range sorted(s.Reqs) {
		if s.Reqs[id].open() {
			s.void(s.Reqs[id], fmt.Sprintf("the drawing of %s was revised", yard), x)
		}
	}
}

func (x *step) walkDrawing(w *recordv1.WalkDrawing) {
	d := x.s.Plans[w.GetYard()]
	switch {
	case d == nil:
		x.refuse("UNKNOWN_DRAWING", w.GetYard(), "this yard has no drawing", "publish one first", "supervisor or manager", "")
	case d.Revision != w.GetRevision() || d.Hash != hex.EncodeToString(w.GetDrawingHash()):
		x.refuse("REVISION", w.GetYard(), fmt.Sprintf("the current drawing is revision %d and not the one that was walked", d.Revision), "walk the current revision against the steel", "a qualified person", "")
	default:
		d.Walked = x.mark
		x.change("drawing of %s revision %d walked against the steel by %s", d.Yard, d.Revision, x.who.ID)
	}
}
