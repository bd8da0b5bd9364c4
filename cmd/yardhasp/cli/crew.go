package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// crewCmds are about the people of a job.
func (a *App) crewCmds() []*cobra.Command {
	return []*cobra.Command{a.jobCrew(), a.jobCoordinator(), a.jobVerified(), a.jobAttest()}
}

func (a *App) jobCrew() *cobra.Command {
	r := &recordv1.AddCrew{}
	c := &cobra.Command{Use: "crew JOB CREW", Short: "Add a crew to a job, or people to a crew", Args: args(2, 2),
		Long:    "Each crew has one responsible authorised employee. As soon as there are several, one\ncoordinator over all of them is needed: \"yardhasp job coordinator\".",
		Example: "  yardhasp job crew boot-7 millwrights --responsible ben-ito --people joe-lund,mia-berg"}
	c.Flags().StringVar(&r.Responsible, "responsible", "", "responsible for this crew, `person` id")
	c.Flags().StringSliceVar(&r.People, "people", nil, "`person` ids of the others")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "responsible"); err != nil {
			return err
		}
		r.Job, r.Crew = args[0], args[1]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_AddCrew{AddCrew: r}})
	}
	return c
}

func (a *App) jobCoordinator() *cobra.Command {
	r := &recordv1.SetCoordinator{}
	c := &cobra.Command{Use: "coordinator JOB PERSON", Short: "Name the one who coordinates all crews of a job", Args: args(2, 2),
		Long:    "One authorised employee, across crews and yards; a second is refused. To change, name\nwho is relieved.",
		Example: "  yardhasp job coordinator boot-7 ann-dahl\n  yardhasp job coordinator boot-7 ben-ito --instead-of ann-dahl"}
	c.Flags().StringVar(&r.InsteadOf, "instead-of", "", "`person` who is relieved")
	c.RunE = func(c *cobra.Command, args []string) error {
		r.Job, r.Person = args[0], args[1]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_SetCoordinator{SetCoordinator: r}})
	}
	return c
}

func (a *App) jobVerified() *cobra.Command {
	var myself, declined bool
	c := &cobra.Command{Use: "verified JOB (--myself | --declined)", Short: "Say that you verified the isolation, or were offered to and declined", Args: args(1, 1),
		Long:    "Everybody on a group lock is offered to verify for themselves, and answers. Who was\nnot asked shows in \"yardhasp job show\".",
		Example: "  yardhasp job verified boot-7 --myself\n  yardhasp job verified boot-7 --declined"}
	c.Flags().BoolVar(&myself, "myself", false, "you verified it yourself")
	c.Flags().BoolVar(&declined, "declined", false, "it was offered and you declined")
	c.RunE = func(c *cobra.Command, args []string) error {
		if myself == declined {
			return usage(c, "say which: --myself or --declined, one of them")
		}
		v := &recordv1.AnswerVerification{Job: args[0], Answer: recordv1.VerificationAnswer_VERIFICATION_ANSWER_VERIFIED_MYSELF}
		if declined {
			v.Answer = recordv1.VerificationAnswer_VERIFICATION_ANSWER_OFFERED_DECLINED
		}
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_AnswerVerification{AnswerVerification: v}})
	}
	return c
}

func (a *App) jobAttest() *cobra.Command {
	r := &recordv1.AttestException{}
	c := &cobra.Command{Use: "attest JOB", Short: "Attest that a job needs no written procedure", Args: args(1, 1),
		Long:    "All eight conditions of 1910.147(c)(4)(i) must hold. Four are computed from the\ndrawings, and the record is refused when one of them fails; you attest the others:\n(4), (6), (7) and (8). \"yardhasp procedure ZONE\" lists all eight.",
		Example: "  yardhasp job attest fan-2 --locked --exclusive --no-hazard-for-others --no-accident \\\n    --how \"one person, own key; accident list looked through\""}
	f := c.Flags()
	f.BoolVar(&r.LockedDuringWork, "locked", false, "(4) isolated from its one source and locked during the work")
	f.BoolVar(&r.ExclusiveControl, "exclusive", false, "(6) the device is under the exclusive control of who does the work")
	f.BoolVar(&r.NoHazardForOthers, "no-hazard-for-others", false, "(7) the work makes no hazard for other people")
	f.BoolVar(&r.NoAccident, "no-accident", false, "(8) no accident of this kind with this machine")
	f.StringVar(&r.HowKnown, "how", "", "how that is known, in words")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "how"); err != nil {
			return err
		}
		r.Job = args[0]
		return a.submit(c, &recordv1.Record{Act: &recordv1.Record_AttestException{AttestException: r}})
	}
	return c
}

// mayRead keeps a contractor's screen to their own jobs.
func (a *App) mayRead(ctx context.Context, cl *client.Client, j *recordv1.JobView) error {
	me := cl.Profile().Person
	if ledger.Concerns(j, me) {
		return nil
	}
	b, err := cl.Board(ctx, servicev1.Consistency_CONSISTENCY_LOCAL, "")
	if err != nil {
		return err
	}
	if ledger.Outsider(b, me) {
		return fmt.Errorf("%s is not one of your jobs: ask its responsible employee, %s", j.GetId(), orDash(j.GetResponsible()))
	}
	return nil
}

// outsider says that a board was cut to what concerns a contractor.
func (p *page) outsider(b *recordv1.Board) {
	if ps := b.GetPeople(); len(ps) == 1 && ledger.Outsider(b, ps[0].GetId()) {
		p.loud("ONLY", "what concerns %s is shown: your jobs, your locks, the points of your plans", ps[0].GetId())
	}
}

// procedureOf says by which procedure a job is done.
func (p *page) procedureOf(j *recordv1.JobView) {
	v := j.GetProcedure()
	switch {
	case v.GetStale() != nil:
		p.loud("PROCEDURE NOT TO BE USED:", "version %d: %s", v.GetVersion(), p.a.words().Says(v.GetStale()))
	case v.GetVersion() > 0:
		p.line("procedure: version %d, checked by %s; \"yardhasp procedure text %s\"", v.GetVersion(), v.GetApprovedBy(), j.GetZone())
	case j.GetException() != nil:
		p.line("%s", p.a.words().Says(j.GetException()))
	default:
		p.line("procedure: none in use")
	}
	if len(j.GetComplex()) > 0 {
		p.loud("COMPLEX LOCKOUT:", "%s: it needs a written plan and one person in charge (now %s), NFPA 70E 120.4 (unchecked)", strings.Join(p.a.words().List(j.GetComplex()), "; "), orDash(inCharge(j)))
	}
}

func inCharge(j *recordv1.JobView) string {
	if j.GetCoordinator() != "" {
		return j.GetCoordinator()
	}
	return j.GetResponsible()
}

// whyUnknown says what keeps somebody who is not signed on from counting as out.
func whyUnknown(j *recordv1.JobView, person string) string {
	if slices.ContainsFunc(j.GetHolds(), func(h *recordv1.HoldView) bool { return h.GetHolder() == person && h.GetStoodClear() == "" }) {
		return ": a lock is on"
	}
	var silent []string
	for _, y := range j.GetAsOf().GetYards() {
		if !y.GetHeard() {
			silent = append(silent, y.GetYard())
		}
	}
	if len(silent) == 0 {
		return ""
	}
	return ": not heard from " + strings.Join(silent, ", ")
}

// members prints everybody on a job's crews: whether they are exposed, and whether
// they verified.
func (p *page) members(j *recordv1.JobView) {
	var rows [][]string
	inside := 0
	for _, m := range j.GetMembers() {
		status := "off"
		switch m.GetExposure() {
		case recordv1.Exposure_EXPOSURE_ON:
			status = "ON"
		case recordv1.Exposure_EXPOSURE_UNSPECIFIED:
			status = "UNKNOWN, counts as inside" + whyUnknown(j, m.GetPerson())
		}
		if m.GetExposure() != recordv1.Exposure_EXPOSURE_OFF {
			inside++
		}
		verified := "NOT ASKED"
		switch m.GetVerification() {
		case recordv1.VerificationAnswer_VERIFICATION_ANSWER_VERIFIED_MYSELF:
			verified = "verified myself"
		case recordv1.VerificationAnswer_VERIFICATION_ANSWER_OFFERED_DECLINED:
			verified = "offered, declined"
		}
		if m.GetVerificationStale() {
			verified = "ASK AGAIN: " + verified + " before the isolation as it is now"
		}
		who := m.GetPerson()
		if m.GetResponsible() {
			who += " (responsible)"
		}
		rows = append(rows, []string{who, orDash(m.GetCrew()), orDash(m.GetEmployer()), status, verified})
	}
	p.table(fmt.Sprintf("members: %d count as inside", inside), []string{"PERSON", "CREW", "EMPLOYER", "EXPOSED", "VERIFIED"}, rows)
	if j.GetCoordinator() != "" {
		p.line("coordinator of all crews: %s", j.GetCoordinator())
	}
}
