package client_test

import (
	"slices"
	"testing"
	"testing/synctest"

	"yardhasp/client"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// What changed of a job since the last look is named, each thing once, and nothing
// that did not change.
func TestLookChanged(t *testing.T) {
	before := &recordv1.JobView{Drawings: []string{"stonebend revision 3"}, Plan: []string{"stonebend/mcc-1/leg-2"}, Responsible: "ann-dahl", Procedure: &recordv1.ProcedureView{Version: 1},
		Points:   []*recordv1.PointView{{Point: "stonebend/mcc-1/leg-2", Position: recordv1.Position_POSITION_OPEN_AND_HELD}},
		SignedOn: []*recordv1.SignOnView{{Person: "joe-lund"}}}
	if got := client.LookOf(before).Changed(client.LookOf(before)); len(got) > 0 {
		t.Errorf("nothing changed: %v", got)
	}
	after := &recordv1.JobView{Drawings: []string{"stonebend revision 4"}, Plan: before.Plan, Responsible: "bo-lind", Procedure: &recordv1.ProcedureView{Version: 2},
		Points: []*recordv1.PointView{{Point: "stonebend/mcc-1/leg-2", Position: recordv1.Position_POSITION_LIVE}}}
	want := []string{"drawing now: stonebend revision 4", "drawing no more: stonebend revision 3", `procedure version: "2", was "1"`, `responsible: "bo-lind", was "ann-dahl"`,
		"position now: stonebend/mcc-1/leg-2 live", "position no more: stonebend/mcc-1/leg-2 open and held", "inside no more: joe-lund"}
	if got := client.LookOf(after).Changed(client.LookOf(before)); !slices.Equal(got, want) {
		t.Errorf("changed: %q\nwant %q", got, want)
	}
}

// Out is said of somebody only while every yard is heard from and the answer is
// confirmed, 1910.147(f)(3)(ii)(B): unknown counts as inside.
func TestOutIsUnknownWhileAYardIsSilent(t *testing.T) {
	heard, silent := &recordv1.YardContact{Yard: "eastfork", Heard: true}, &recordv1.YardContact{Yard: "millrow"}
	for _, c := range []struct {
		asOf *recordv1.AsOf
		want recordv1.Exposure
	}{
		{&recordv1.AsOf{Confirmed: true, Yards: []*recordv1.YardContact{heard}}, recordv1.Exposure_EXPOSURE_OFF},
		{&recordv1.AsOf{Confirmed: true, Yards: []*recordv1.YardContact{heard, silent}}, recordv1.Exposure_EXPOSURE_UNSPECIFIED},
		{&recordv1.AsOf{Yards: []*recordv1.YardContact{heard}}, recordv1.Exposure_EXPOSURE_UNSPECIFIED},
	} {
		job := func() *recordv1.JobView {
			return &recordv1.JobView{AsOf: c.asOf, Members: []*recordv1.MemberView{{Person: "joe-lund", Exposure: recordv1.Exposure_EXPOSURE_OFF}, {Person: "ann-dahl", Exposure: recordv1.Exposure_EXPOSURE_ON}}}
		}
		alone, b := job(), &recordv1.Board{AsOf: c.asOf, Jobs: []*recordv1.JobView{job()}}
		client.WithholdJob(alone)
		client.WithholdBoard(b)
		for _, j := range []*recordv1.JobView{alone, b.GetJobs()[0]} {
			if j.GetMembers()[0].GetExposure() != c.want || j.GetMembers()[1].GetExposure() != recordv1.Exposure_EXPOSURE_ON {
				t.Errorf("as of %v: %v", c.asOf, j.GetMembers())
			}
		}
	}
}

// A look is kept for the next time; before the first there is none. A contractor's
// board, and what is kept of it, shows what concerns them alone.
func TestContractorsBoardAndLook(t *testing.T) {
	n := newNet(t)
	n.profile.Person = "lena-moss"
	synctest.Test(t, func(t *testing.T) {
		n.yards["eastfork"].OnBoard = func(*servicev1.GetBoardRequest) (*recordv1.Board, error) {
			return &recordv1.Board{AsOf: &recordv1.AsOf{Confirmed: true}, Coop: "Three Forks Grain Co-op",
				Jobs: []*recordv1.JobView{{Id: "a", Crew: []string{"lena-moss"}}, {Id: "b", Crew: []string{"joe-lund"}}},
				People: []*recordv1.PersonView{{Id: "joe-lund", Name: "Joe Lund"},
					{Id: "lena-moss", Employer: "Harrow Millwrights", Roles: []recordv1.Role{recordv1.Role_ROLE_CONTRACTOR}}}}, nil
		}
		c, end := n.start()
		defer end()
		b, err := c.Board(soon(t), 0, "")
		if err != nil {
			t.Fatal(err)
		}
		kept, _, err := c.LastBoard()
		if err != nil {
			t.Fatal(err)
		}
		for name, b := range map[string]*recordv1.Board{"read": b, "kept": kept} {
			if len(b.GetJobs()) != 1 || b.GetJobs()[0].GetId() != "a" || len(b.GetPeople()) != 1 || b.GetPeople()[0].GetId() != "lena-moss" {
				t.Errorf("the board %s shows jobs %v, people %v", name, b.GetJobs(), b.GetPeople())
			}
		}
		if l, err := c.LastLook("a"); err != nil || l.At != 0 {
			t.Errorf("no look yet: %v, %v", l, err)
		}
		if err := c.KeepLook("a", &client.Look{At: 77, Plan: []string{"stonebend/mcc-1/leg-2"}}); err != nil {
			t.Fatal(err)
		}
		if l, err := c.LastLook("a"); err != nil || l.At != 77 || len(l.Plan) != 1 {
			t.Errorf("kept %v, %v", l, err)
		}
	})
}
