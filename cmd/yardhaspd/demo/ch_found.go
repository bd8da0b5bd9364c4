package demo

import (
	"path/filepath"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/drawing"
	"yardhasp/client/keys"
	"yardhasp/client/token"
	"yardhasp/client/words"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/testdata/coop"
)

// padlocks are the serial numbers of the crew's locks.
var padlocks = map[string]string{"ravi": "4417", "lena": "2093"}

var yardNames = map[string]string{"stonebend": "Stonebend", "millrow": "Millrow", "eastfork": "Eastfork"}

// foundLedger starts one replica and has two more join it.
func foundLedger(s *story) {
	s.page.heading("Three yards found one ledger",
		"Every yard keeps the whole ledger on its own box, so that everybody sees the same and two of three can go on alone.")
	b, err := s.fleet.add("stonebend")
	if !s.must(err, "prepare stonebend") {
		return
	}
	s.must(s.fleet.once(s.ctx, "found", "--data", b.dir, "--yard", "stonebend", "--name", "Stonebend", "--coop", coopName,
		"--manager", "nia-okoro", "--manager-name", "Nia Okoro", "--listen", b.listen, "--address", b.addr, "--no-passphrase"), "found the ledger")
	if s.err == nil {
		s.must(s.fleet.start(s.ctx, b), "start stonebend")
	}
	if s.err != nil {
		return
	}
	key, err := keys.Read(filepath.Join(b.dir, "manager.key"), nil)
	s.must(err, "read the manager's key")
	p, err := client.LoadProfile(filepath.Join(b.dir, "profile.yaml"))
	if !s.must(err, "read the manager's profile") {
		return
	}
	s.ledger = p.Ledger
	s.must(s.equip("nia-okoro", p, key), "equip nia-okoro")
	s.until("the founding record in the ledger", func() bool {
		b, err := s.who["nia-okoro"].Board(s.ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
		return err == nil && b.GetCoop() == coopName
	})
	s.page.act("stonebend", "nia-okoro", "founded the ledger of the "+coopName, entry(0), "CONFIRMED")
	for _, y := range []string{"millrow", "eastfork"} {
		s.yardJoins(y)
	}
	s.until("three yards that vote", func() bool {
		m, err := s.who["nia-okoro"].Members(s.ctx, "stonebend")
		if err != nil || m.GetVoters() != 3 || m.GetAlive() != 3 || !m.GetHasQuorum() {
			return false
		}
		p.Yards = p.Yards[:1]
		for _, m := range m.GetMembers() {
			if m.GetYard() != "stonebend" {
				p.Yards = append(p.Yards, client.Yard{ID: m.GetYard(), Name: m.GetName(), Address: m.GetAddress(), Key: m.GetReplicaKey()})
			}
		}
		return len(p.Yards) == 3
	})
	if s.err != nil {
		return
	}
	s.must(s.equip("nia-okoro", p, key), "equip nia-okoro")
	s.must(s.watchers(p, key), "reach the yards")
	if s.err != nil {
		return
	}
	s.listen(s.eyes["stonebend"])
	for _, y := range []string{"millrow", "eastfork"} {
		o := s.entryOf(y+" joins", 0, func(o *recordv1.Outcome) bool { return o.GetKind() == "join" && o.GetSigner() == y })
		s.page.act(y, y, "joined with a key of its own, and votes", entry(o.GetIndex()), "CONFIRMED")
	}
	m, err := s.who["nia-okoro"].Members(s.ctx, "")
	s.must(err, "read the members")
	s.page.say("%s", words.English.Says(m.GetMeans()))
	s.expect(m.GetMayFail() == 1, "of three voters %d may fail, want 1", m.GetMayFail())
}

// yardJoins invites a yard and starts its replica with the token.
func (s *story) yardJoins(y string) {
	t := s.invite(token.Yard, y, "", &recordv1.Invite{Whom: &recordv1.Invite_Yard{Yard: &recordv1.YardInfo{Id: y, Name: yardNames[y]}}})
	if s.err != nil {
		return
	}
	text, err := token.Encode(t)
	s.must(err, "write the invitation")
	b, err := s.fleet.add(y)
	if s.must(err, "prepare "+y) {
		s.must(s.fleet.start(s.ctx, b, "join", text, "--listen", b.listen, "--address", b.addr), "start "+y)
	}
}

// bringPeople enrols everybody, and registers what hangs on panels.
func bringPeople(s *story) {
	s.page.heading("People join, each with a key of their own",
		"Every act is signed by the person whose act it is: nobody, not even the manager, can take off another's lock.")
	for _, p := range cast() {
		s.enrol(p, s.invite(token.Person, p.GetId(), p.yard, &recordv1.Invite{Whom: &recordv1.Invite_Person{Person: p.Person}}))
	}
	for _, owner := range []string{"ravi", "lena"} {
		s.done("nia-okoro", "registered padlock "+padlocks[owner]+" of "+owner+", one key cut", &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{
			RegisterPadlock: &recordv1.RegisterPadlock{Serial: padlocks[owner], Owner: owner, KeysCut: 1, Spare: recordv1.SpareKey_SPARE_KEY_NONE_CUT}}})
	}
	for i, owner := range []string{"ravi", "ravi", "tomas", "tomas"} {
		serial := opsLocks[i]
		s.done("nia-okoro", "registered operations padlock "+serial+", in the care of "+owner+", one key cut", &recordv1.Record{Act: &recordv1.Record_RegisterPadlock{
			RegisterPadlock: &recordv1.RegisterPadlock{Serial: serial, Owner: owner, KeysCut: 1, Spare: recordv1.SpareKey_SPARE_KEY_NONE_CUT}}})
	}
	s.done("nia-okoro", "registered group box "+lockBox, &recordv1.Record{Act: &recordv1.Record_RegisterBox{
		RegisterBox: &recordv1.RegisterBox{Box: lockBox, Holes: 6, Label: "group lock box for leg 2"}}})
}

// opsLocks hang on the points themselves. Their keys go into the box.
var opsLocks = []string{"op-11", "op-12", "op-21", "op-22"}

// shortWait, in seconds, replaces the ten minutes on the drive's plate.
const shortWait = 2

// drawYards publishes the three drawings. People then walk the yards to check them.
func drawYards(s *story) {
	s.page.heading("Each yard's energy paths are drawn, and walked against the steel",
		"What cuts a machine off is computed from these drawings, so somebody qualified first compares them with the real thing.")
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		raw, err := coop.Files.ReadFile(y + ".yaml")
		if !s.must(err, "read the drawing of "+y) {
			return
		}
		src, err := drawing.Parse(y+".yaml", raw)
		if !s.must(err, "read the drawing of "+y) {
			return
		}
		for _, n := range src.Drawing.GetNodes() {
			if n.GetStore().GetWaitSeconds() == 600 {
				s.page.say("the plate of the %s says to wait 10 minutes; so that you need not, the drawing says %d s here", n.GetLabel(), shortWait)
				n.Store.WaitSeconds = shortWait
			}
		}
		bytes, err := proto.MarshalOptions{Deterministic: true}.Marshal(src.Drawing)
		s.must(err, "write the drawing of "+y)
		s.done("nia-okoro", "published the drawing of "+y+" revision 1", &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: bytes}}})
	}
	for _, y := range []string{"stonebend", "millrow", "eastfork"} {
		s.walk(y)
	}
}

// walk has ravi, who is qualified, sign that he walked a drawing.
func (s *story) walk(yard string) {
	if s.err != nil {
		return
	}
	d, err := s.who["ravi"].Drawing(s.ctx, yard)
	s.must(err, "read the drawing of "+yard)
	s.done("ravi", "walked the drawing of "+yard+" revision 1 against the steel", &recordv1.Record{Act: &recordv1.Record_WalkDrawing{
		WalkDrawing: &recordv1.WalkDrawing{Yard: yard, Revision: 1, DrawingHash: sum(d.GetDrawing())}}})
}

func yardsOf(points []string) []string {
	var out []string
	for _, p := range points {
		y, _, _ := strings.Cut(p, "/")
		out = append(out, y)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
