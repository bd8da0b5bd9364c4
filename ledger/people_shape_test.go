package ledger

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Each field that can't be as it is is named (the contract's field comments, limits.go;
// for the people who sign beside the signer, decisions.md 21).

// spoilt is a good record, what spoils it, and the field that is then wrong.
type spoilt struct {
	good  *recordv1.Record
	spoil func(*recordv1.Record)
	field string
}

// checkSpoilt: the good record is taken, and of the spoilt one that field alone is named.
func checkSpoilt(t *testing.T, all []spoilt) {
	t.Helper()
	rows := map[string]Kind{}
	for _, k := range declared {
		rows[k.Name] = k
	}
	for _, c := range all {
		k := rows[KindOf(c.good)]
		f := &fields{}
		if k.Shape(f, c.good); len(f.bad) > 0 {
			t.Fatalf("%s: a good one is refused: %v", k.Name, f.bad)
		}
		bad := proto.CloneOf(c.good)
		c.spoil(bad)
		k.Shape(f, bad)
		if len(f.bad) != 1 || f.bad[0].GetSubject() != c.field || code.Check(f.bad[0]) != nil {
			t.Errorf("%s with a bad %s: %v", k.Name, c.field, f.bad)
		}
	}
}

var (
	key32 = make([]byte, 32)
	long  = strings.Repeat("x", MaxText+1)
)

// journalRef is a reference to the seq-th record of the first journal of stonebend.
func journalRef(seq uint64) *recordv1.JournalRef {
	return &recordv1.JournalRef{Yard: "stonebend", Epoch: 1, Seq: seq}
}

// TestShapesOfInvitations: who is invited, and who joins.
func TestShapesOfInvitations(t *testing.T) {
	ravi := &recordv1.Person{Id: "ravi", Name: "Ravi", Roles: []recordv1.Role{authorised}}
	invite := &recordv1.Record{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "inv-1", OnceKey: key32, ExpiresUnixMs: 1, Whom: &recordv1.Invite_Person{Person: ravi}}}}
	inviteYard := &recordv1.Record{Act: &recordv1.Record_Invite{Invite: &recordv1.Invite{Id: "inv-1", OnceKey: key32, ExpiresUnixMs: 1, Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: "millrow", Name: "Millrow"}}}}}
	join := &recordv1.Record{Act: &recordv1.Record_Join{Join: &recordv1.Join{Invitation: "inv-1", Key: key32}}}
	checkSpoilt(t, []spoilt{
		{invite, func(r *recordv1.Record) { r.GetInvite().Id = "Inv" }, "id"},
		{invite, func(r *recordv1.Record) { r.GetInvite().OnceKey = nil }, "once_key"},
		{invite, func(r *recordv1.Record) { r.GetInvite().ExpiresUnixMs = 0 }, "expires_unix_ms"},
		{invite, func(r *recordv1.Record) { r.GetInvite().GetPerson().Id = "" }, "person.id"},
		{invite, func(r *recordv1.Record) { r.GetInvite().GetPerson().Name = "" }, "person.name"},
		{invite, func(r *recordv1.Record) { r.GetInvite().GetPerson().Employer = "a\nb" }, "person.employer"},
		{invite, func(r *recordv1.Record) { r.GetInvite().GetPerson().Roles = nil }, "person.roles"},
		{invite, func(r *recordv1.Record) { r.GetInvite().GetPerson().Roles = []recordv1.Role{99} }, "person.roles"},
		{inviteYard, func(r *recordv1.Record) { r.GetInvite().GetYard().Id = "a/b" }, "yard.id"},
		{inviteYard, func(r *recordv1.Record) { r.GetInvite().GetYard().Name = "" }, "yard.name"},
		{inviteYard, func(r *recordv1.Record) { r.GetInvite().Whom = nil }, "whom"},
		{join, func(r *recordv1.Record) { r.GetJoin().Invitation = "" }, "invitation"},
		{join, func(r *recordv1.Record) { r.GetJoin().Key = key32[:31] }, "key"},
		{join, func(r *recordv1.Record) { r.GetJoin().Address = "\x1b[2J" }, "address"},
	})
}

// TestShapesOfRegistrations: points, boxes and drawings.
func TestShapesOfRegistrations(t *testing.T) {
	point := &recordv1.Record{Act: &recordv1.Record_RegisterPoint{RegisterPoint: &recordv1.RegisterPoint{Point: "stonebend/mcc-1/leg"}}}
	box := &recordv1.Record{Act: &recordv1.Record_RegisterBox{RegisterBox: &recordv1.RegisterBox{Box: "stonebend/box-1"}}}
	drawing := &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: []byte{1}}}}
	walk := &recordv1.Record{Act: &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: "stonebend", Revision: 1, DrawingHash: key32}}}
	checkSpoilt(t, []spoilt{
		{point, func(r *recordv1.Record) { r.GetRegisterPoint().Point = "stonebend/leg" }, "point"},
		{point, func(r *recordv1.Record) { r.GetRegisterPoint().Label = long }, "label"},
		{box, func(r *recordv1.Record) { r.GetRegisterBox().Box = "box-1" }, "box"},
		{box, func(r *recordv1.Record) { r.GetRegisterBox().Label = long }, "label"},
		{drawing, func(r *recordv1.Record) { r.GetPublishDrawing().Drawing = nil }, "drawing"},
		{walk, func(r *recordv1.Record) { r.GetWalkDrawing().Yard = "" }, "yard"},
		{walk, func(r *recordv1.Record) { r.GetWalkDrawing().DrawingHash = nil }, "drawing_hash"},
	})
}

// TestShapesOfKeys: keys revoked, replaced and issued again.
func TestShapesOfKeys(t *testing.T) {
	revoke := &recordv1.Record{Act: &recordv1.Record_RevokeKey{RevokeKey: &recordv1.RevokeKey{Person: "ravi", Key: key32}}}
	replace := &recordv1.Record{Act: &recordv1.Record_ReplaceKey{ReplaceKey: &recordv1.ReplaceKey{Key: key32}}}
	reissue := &recordv1.Record{Act: &recordv1.Record_ReissueKey{ReissueKey: &recordv1.ReissueKey{Person: "ravi", Key: key32}}}
	checkSpoilt(t, []spoilt{
		{revoke, func(r *recordv1.Record) { r.GetRevokeKey().Person = "" }, "person"},
		{revoke, func(r *recordv1.Record) { r.GetRevokeKey().Key = nil }, "key"},
		{revoke, func(r *recordv1.Record) { r.GetRevokeKey().Why = long }, "why"},
		{replace, func(r *recordv1.Record) { r.GetReplaceKey().Key = nil }, "key"},
		{reissue, func(r *recordv1.Record) { r.GetReissueKey().Person = "" }, "person"},
		{reissue, func(r *recordv1.Record) { r.GetReissueKey().Key = nil }, "key"},
	})
}

// TestShapesOfEndedLocks: removals and the word of them, hand-overs, claims, and taking
// a job over.
func TestShapesOfEndedLocks(t *testing.T) {
	removal := &recordv1.Record{Signer: "nia", Act: &recordv1.Record_Removal{Removal: &recordv1.Removal{Hold: journalRef(1), Second: "oskar", NotHere: "gate log", TriedToReach: "called"}}}
	told := &recordv1.Record{Act: &recordv1.Record_AcknowledgeRemoval{AcknowledgeRemoval: &recordv1.AcknowledgeRemoval{Hold: journalRef(1)}}}
	over := &recordv1.Record{Signer: "lena", Act: &recordv1.Record_HandOver{HandOver: &recordv1.HandOver{Others: []string{"ravi"},
		Pairs: []*recordv1.HandOver_Pair{{Off: journalRef(1), On: journalRef(2)}, {Off: journalRef(3), On: journalRef(4)}}}}}
	claim := &recordv1.Record{Signer: "tomas", Act: &recordv1.Record_ClaimLock{ClaimLock: &recordv1.ClaimLock{Hold: journalRef(1), Witness: "mara"}}}
	take := &recordv1.Record{Signer: "tomas", Act: &recordv1.Record_TakeOver{TakeOver: &recordv1.TakeOver{Job: "boot-1", From: "ravi"}}}
	checkSpoilt(t, []spoilt{
		{removal, func(r *recordv1.Record) { r.GetRemoval().Hold.Epoch = 0 }, "hold"},
		{removal, func(r *recordv1.Record) { r.GetRemoval().Second = "nia" }, "second"},
		{removal, func(r *recordv1.Record) { r.GetRemoval().NotHere = " " }, "not_here"},
		{removal, func(r *recordv1.Record) { r.GetRemoval().TriedToReach = "" }, "tried_to_reach"},
		{told, func(r *recordv1.Record) { r.GetAcknowledgeRemoval().Hold = nil }, "hold"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Others = []string{"ravi", "lena"} }, "others"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Others = nil }, "others"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Pairs = nil }, "pairs"},
		{over, func(r *recordv1.Record) {
			for i := range uint64(MaxList) {
				r.GetHandOver().Pairs = append(r.GetHandOver().Pairs, &recordv1.HandOver_Pair{Off: journalRef(1000 + i), On: journalRef(1)})
			}
			r.GetHandOver().Pairs[0].Off = journalRef(999)
		}, "pairs"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Pairs[0].Off = nil }, "pairs.off"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Pairs[0].On = nil }, "pairs.on"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Pairs[1].Off = journalRef(1) }, "pairs.off"},
		{over, func(r *recordv1.Record) { r.GetHandOver().Pairs[0].On = journalRef(3) }, "pairs.on"},
		{claim, func(r *recordv1.Record) { r.GetClaimLock().Hold = nil }, "hold"},
		{claim, func(r *recordv1.Record) { r.GetClaimLock().Witness = "tomas" }, "witness"},
		{take, func(r *recordv1.Record) { r.GetTakeOver().Job = "" }, "job"},
		{take, func(r *recordv1.Record) { r.GetTakeOver().From = "tomas" }, "from"},
	})
}

// TestShapesOfRecoveries: what a walkdown found.
func TestShapesOfRecoveries(t *testing.T) {
	recovery := &recordv1.Record{Signer: "nia", Act: &recordv1.Record_RecoverYard{RecoverYard: &recordv1.RecoverYard{Yard: "stonebend", Second: "oskar", Epoch: 2, Key: key32, Address: "127.0.0.1:1",
		Locks:  []*recordv1.WalkedLock{{Target: &recordv1.Target{On: &recordv1.Target_Box{Box: "stonebend/box-1"}}}},
		Closed: []string{"stonebend/mcc-1/leg"}, Inside: []*recordv1.WalkedPerson{{Person: "ravi"}, {Person: "ravi", Job: "boot-1"}}}}}
	checkSpoilt(t, []spoilt{
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Yard = "" }, "yard"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Second = "nia" }, "second"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Epoch = 0 }, "epoch"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Key = nil }, "key"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Address = "" }, "address"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Closed[0] = "leg" }, "closed"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Locks[0].Target = nil }, "locks.target"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Locks[0].Holder = "Ravi" }, "locks.holder"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Locks[0].Seen = long }, "locks.seen"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Locks[0].Job = "a b" }, "locks.job"},
		{recovery, func(r *recordv1.Record) {
			l := r.GetRecoverYard().Locks[0]
			r.GetRecoverYard().Locks = slices.Repeat([]*recordv1.WalkedLock{l}, MaxList+1)
		}, "locks"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Inside[0].Person = "" }, "inside.person"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Inside[0].Job = "a b" }, "inside.job"},
		{recovery, func(r *recordv1.Record) { r.GetRecoverYard().Inside[0].Job = "boot-1" }, "inside"},
	})
}
