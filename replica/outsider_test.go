package replica_test

import (
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// TestOutsiderSeesTheirs: a contractor of another employer is given what concerns
// them, by the replica and not by their own program: their jobs, of others' acts the
// place alone, of the history what they signed and the procedures (common practice,
// no source; 1910.147(f)(2) wants both employers' procedures told).
func TestOutsiderSeesTheirs(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn()
	c.joinPerson(&recordv1.Person{Id: "wren", Name: "Wren", Employer: "Harrow Belts", Roles: []recordv1.Role{recordv1.Role_ROLE_CONTRACTOR}})
	c.joinPerson(&recordv1.Person{Id: "tomas", Name: "Tomas", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}})
	c.do("nia", "stonebend", actPoint("eastfork/panel-1/belt"))
	locked := c.do("wren", "stonebend", lockOn("eastfork/panel-1/belt", "", "")).GetRef()
	other := c.do("lena", "millrow", lockOn(second, "", "boot-1")).GetRef()
	c.until("millrow knows wren", func() bool { return c.size("millrow") == c.size("stonebend") })

	for _, yard := range []string{"stonebend", "millrow"} {
		b, err := c.board(yard, servicev1.Consistency_CONSISTENCY_CONFIRMED)
		if err != nil || len(b.GetJobs()) != 1 || len(b.GetPeople()) < 4 {
			t.Fatalf("nia at %s: %d jobs, %d people, %v", yard, len(b.GetJobs()), len(b.GetPeople()), err)
		}
		l := c.raw("wren", yard)
		res, err := l.GetBoard(c.ctx(), &servicev1.GetBoardRequest{Consistency: servicev1.Consistency_CONSISTENCY_CONFIRMED})
		if err != nil {
			t.Fatal(err)
		}
		b = res.GetBoard()
		if len(b.GetJobs()) != 0 || len(b.GetPeople()) != 1 || b.GetPeople()[0].GetId() != "wren" {
			t.Errorf("%s shows wren %d jobs and the people %v", yard, len(b.GetJobs()), b.GetPeople())
		}
		refs := map[string]bool{}
		for _, h := range b.GetHolds() {
			refs[h.GetRef()] = true
		}
		if !refs[locked] || refs[other] {
			t.Errorf("%s shows wren the locks %v, of which %s is theirs and %s has nothing to do with them", yard, refs, locked, other)
		}
		if _, err := l.GetJob(c.ctx(), &servicev1.GetJobRequest{Job: "boot-1"}); status.Code(err) != codes.PermissionDenied {
			t.Errorf("a job that is not theirs: %v", err)
		}
		c.watchedBy(l)
	}
	c.do("nia", "stonebend", &recordv1.Record{Act: &recordv1.Record_AddCrew{AddCrew: &recordv1.AddCrew{Job: "boot-1", Crew: "belts", Responsible: "tomas", People: []string{"wren"}}}})
	if res, err := c.raw("wren", "stonebend").GetJob(c.ctx(), &servicev1.GetJobRequest{Job: "boot-1"}); err != nil || res.GetJob().GetId() != "boot-1" {
		t.Errorf("their own job: %v", err)
	}
}

// watchedBy checks what wren is given of outcomes and entries.
func (c *cluster) watchedBy(l servicev1.LedgerServiceClient) {
	c.t.Helper()
	n := c.size("stonebend")
	watch, err := l.Watch(c.ctx(), &servicev1.WatchRequest{})
	if err != nil {
		c.t.Fatal(err)
	}
	theirs := 0
	for i := range n {
		m, err := watch.Recv()
		if err != nil || m.GetOutcome().GetIndex() != i {
			c.t.Fatalf("outcome %d: %v %v", i, m, err)
		}
		switch o := m.GetOutcome(); {
		case o.GetSigner() == "wren":
			theirs++
		case o.GetKind() != "" || len(o.GetDid()) > 0:
			c.t.Errorf("outcome %d of %s is told to wren", i, o.GetSigner())
		}
	}
	one := func(i uint64) error {
		st, err := l.Export(c.ctx(), &servicev1.ExportRequest{From: i, To: i + 1})
		if err == nil {
			_, err = st.Recv()
		}
		return err
	}
	given := 0
	for i := range n {
		if err := one(i); err == nil {
			given++
		} else if status.Code(err) != codes.PermissionDenied {
			c.t.Errorf("entry %d: %v", i, err)
		}
	}
	if theirs == 0 || given != theirs+1 {
		c.t.Errorf("%d outcomes are theirs; of the entries they get %d, where the founding one comes on top", theirs, given)
	}
}
