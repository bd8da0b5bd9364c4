package ledger

import (
	"bytes"
	"slices"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var _ = declare(
	kind((*recordv1.Record).GetInvite, Kind{Name: "invite", Called: "invite", Class: Lifts, May: whoHas(manager), Clause: noClause, By: ByPerson, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(*recordv1.Invite) About { return About{} },
		func(f *fields, a *recordv1.Invite) {
			f.name("id", a.GetId())
			f.bytes32("once_key", a.GetOnceKey())
			f.moment("expires_unix_ms", a.GetExpiresUnixMs())
			switch w := a.GetWhom().(type) {
			case *recordv1.Invite_Person:
				f.person("person", w.Person)
			case *recordv1.Invite_Yard:
				f.name("yard.id", w.Yard.GetId())
				f.text("yard.name", w.Yard.GetName())
			default:
				f.some("whom", 0)
			}
		},
		(*step).invite),
	kind((*recordv1.Record).GetJoin, Kind{Name: "join", Called: "join", Class: Lifts, May: ofTheirOwn(), Clause: noClause, By: ByNewcomer, With: alone,
		Way: Direct, Home: AtNoYard, Elsewhere: TakenElsewhere, Panel: AnyWhere, Outbox: MayNotWait, LowDisk: NotOnLowDisk, Training: NoTraining},
		func(*recordv1.Join) About { return About{} },
		func(f *fields, a *recordv1.Join) {
			f.name("invitation", a.GetInvitation())
			f.bytes32("key", a.GetKey())
			f.optionalText("address", a.GetAddress())
		},
		(*step).join),
)

var (
	InvitationExists = code.New("INVITATION_EXISTS", code.Row{Args: "invitation", Who: "the-signer", Answer: code.Taken})
	// NameInUse: a person and a yard may not share a name. Otherwise an act of one would
	// be read as an act of the other.
	NameInUse  = code.New("NAME_IN_USE", code.Row{Args: "name", Who: "the-signer", Answer: code.Taken})
	Enrolled   = code.New("ENROLLED_ALREADY", code.Row{Args: "person", Who: "a-manager", Answer: code.Taken})
	YardJoined = code.New("YARD_JOINED_ALREADY", code.Row{Args: "yard", Answer: code.Taken})
	// InvitationOverAtOnce: the end of the invitation is not in the future.
	InvitationOverAtOnce = code.New("INVITATION_OVER_AT_ONCE", code.Row{Args: "invitation expires:time", Who: "the-signer"})
	Invited              = code.New("INVITED", code.Row{Args: "by invited"})

	UnknownInvitation    = code.New("UNKNOWN_INVITATION", code.Row{Args: "invitation", Who: "a-manager", Answer: code.Unknown})
	InvitationUnreadable = code.New("INVITATION_UNREADABLE", code.Row{Args: "invitation", Who: "a-manager", Answer: code.Malformed})
	InvitationUsed       = code.New("INVITATION_USED", code.Row{Args: "invitation", Who: "a-manager"})
	InvitationExpired    = code.New("INVITATION_EXPIRED", code.Row{Args: "invitation expired:time", Who: "a-manager"})
	// InviterRevoked: the key of the manager who invited was revoked since.
	InviterRevoked = code.New("INVITER_REVOKED", code.Row{Args: "invitation by", Who: "another-manager"})
	// InvitationForAnother: the invitation names another person than the one who joins.
	InvitationForAnother = code.New("INVITATION_FOR_ANOTHER", code.Row{Args: "signer invited", Who: "{invited}", Answer: code.NotSigned})
	// JoinUnsigned: the one-time key or the new key did not sign.
	JoinUnsigned = code.New("JOIN_UNSIGNED", code.Row{Args: "invitation", Who: "the-signer", Answer: code.NotSigned})
	// OnceKeyKept: the one-time key may not become anybody's own key.
	OnceKeyKept   = code.New("ONCE_KEY_KEPT", code.Row{Args: "invitation", Who: "the-signer", Answer: code.NotSigned})
	PersonJoined  = code.New("PERSON_JOINED", code.Row{Args: "person"})
	YardHasJoined = code.New("YARD_JOINED", code.Row{Args: "yard address:text"})
)

// person checks the fields of a person to enrol.
func (f *fields) person(field string, p *recordv1.Person) {
	f.name(field+".id", p.GetId())
	f.text(field+".name", p.GetName())
	f.optionalText(field+".employer", p.GetEmployer())
	f.some(field+".roles", len(p.GetRoles()))
	for _, r := range p.GetRoles() {
		f.oneOf(field+".roles", recordv1.Role_name, int32(r))
	}
}

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
	s, person, yard := x.s, i.GetPerson().GetId(), i.GetYard().GetId()
	if s.Invites[i.GetId()] != nil {
		x.deny(InvitationExists, i.GetId(), i.GetId())
	}
	if id := person + yard; i.GetPerson() != nil && s.Yards[id] != nil || i.GetYard() != nil && s.People[id] != nil {
		x.deny(NameInUse, id, id)
	}
	if person != "" && s.People[person] != nil {
		x.deny(Enrolled, person, person)
	}
	if yard != "" && s.Yards[yard] != nil {
		x.deny(YardJoined, yard, yard)
	}
	if i.GetExpiresUnixMs() <= s.Time {
		x.deny(InvitationOverAtOnce, i.GetId(), i.GetId(), i.GetExpiresUnixMs())
	}
	if x.refused() {
		return
	}
	s.Invites[i.GetId()] = &Invitation{ID: i.GetId(), Whom: mustMarshal(i), Expires: i.GetExpiresUnixMs(), By: x.mark}
	x.did(Invited, i.GetId(), x.who.ID, person+yard)
}

// join redeems an invitation. Both the new key and the one-time key must sign.
func (x *step) join(j *recordv1.Join) {
	s := x.s
	inv := s.Invites[j.GetInvitation()]
	if inv == nil {
		x.deny(UnknownInvitation, j.GetInvitation(), j.GetInvitation())
		return
	}
	var i recordv1.Invite
	if err := proto.Unmarshal(inv.Whom, &i); err != nil {
		x.deny(InvitationUnreadable, inv.ID, inv.ID)
		return
	}
	signed := func(key []byte) bool {
		return slices.ContainsFunc(x.e.keys, func(k []byte) bool { return bytes.Equal(k, key) })
	}
	id := i.GetPerson().GetId() + i.GetYard().GetId()
	switch {
	case inv.Used:
		x.deny(InvitationUsed, inv.ID, inv.ID)
	case s.Time >= inv.Expires:
		x.deny(InvitationExpired, inv.ID, inv.ID, inv.Expires)
	case !signed(i.GetOnceKey()) || !signed(j.GetKey()):
		x.deny(JoinUnsigned, inv.ID, inv.ID)
	case bytes.Equal(i.GetOnceKey(), j.GetKey()):
		x.deny(OnceKeyKept, inv.ID, inv.ID)
	case s.KeyOf(j.GetKey()) != nil:
		x.deny(KeyInUse, fingerprintShort(j.GetKey()), fingerprintShort(j.GetKey()))
	case x.rec.GetSigner() != id:
		x.deny(InvitationForAnother, x.rec.GetSigner(), x.rec.GetSigner(), id)
	case s.LiveKey(inv.By.By) == nil:
		x.deny(InviterRevoked, inv.ID, inv.ID, inv.By.By)
	case s.People[id] != nil:
		x.deny(Enrolled, id, id)
	case s.Yards[id] != nil:
		x.deny(YardJoined, id, id)
	case i.GetYard() != nil && j.GetAddress() == "":
		x.deny(BadField, "address", "address", "form-address")
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
		x.did(YardHasJoined, id, id, j.GetAddress())
		return
	}
	s.addPerson(i.GetPerson(), j.GetKey(), x.mark)
	x.did(PersonJoined, id, id)
}
