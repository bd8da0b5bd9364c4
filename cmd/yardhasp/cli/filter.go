package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// filter limits a listing. The flags mean the same everywhere, and all given flags must
// hold.
type filter struct{ at, person, job, state string }

const (
	atHelp     = "only what touches this `yard`: its points, boxes and zones, and jobs there"
	personHelp = "only what this `person` signed, holds, answers for or is named in"
	jobHelp    = "only what belongs to this `job`"
)

// add gives a command the flags of every listing. states, if not empty, are the words
// that --state takes there.
func (f *filter) add(c *cobra.Command, states string) {
	f.addAt(c)
	c.Flags().StringVar(&f.person, "person", "", personHelp)
	c.Flags().StringVar(&f.job, "job", "", jobHelp)
	if states != "" {
		c.Flags().StringVar(&f.state, "state", "", "only what is in this `state`: "+states)
	}
}

// addAt gives a command --at.
func (f *filter) addAt(c *cobra.Command) { c.Flags().StringVar(&f.at, "at", "", atHelp) }

func (f filter) empty() bool { return f == filter{} }

func (f filter) String() string {
	var out []string
	for _, w := range [][2]string{{"yard ", f.at}, {"person ", f.person}, {"job ", f.job}, {"state ", f.state}} {
		if w[1] != "" {
			out = append(out, w[0]+w[1])
		}
	}
	return strings.Join(out, ", ")
}

// listed is the first warning of a list that was filtered.
func (p *page) listed(f filter) {
	if !f.empty() {
		p.loud("ONLY", "%s is listed: what else there is, is not", f)
	}
}

// shown is the same warning for a board, which lists several things.
func (p *page) shown(f filter) {
	if !f.empty() {
		p.loud("ONLY", "%s is shown: what is locked, open or asked for elsewhere is not", f)
	}
}

func forWhat(f filter) string {
	if f.empty() {
		return ""
	}
	return " for " + f.String()
}

// enumWords are the words of an enum, as --state takes them.
func enumWords(prefix string, values map[int32]string) string {
	var out []string
	for n := range int32(len(values)) {
		if n > 0 {
			out = append(out, strings.ReplaceAll(word(prefix, values[n]), " ", "-"))
		}
	}
	return strings.Join(out, ", ")
}

// inState reports whether an enum's word is the word that was typed.
func inState(prefix, name, given string) bool {
	return given == "" || name == prefix+strings.ToUpper(strings.NewReplacer(" ", "_", "-", "_").Replace(given))
}

// cut takes out of a board what the filter leaves out. It keeps alarms, yards and
// people, because an alarm is for everybody.
func (f filter) cut(b *recordv1.Board) {
	if f.empty() {
		return
	}
	jobs := map[string]*recordv1.JobView{}
	for _, j := range b.GetJobs() {
		jobs[j.GetId()] = j
	}
	b.Points = slices.DeleteFunc(slices.Clone(b.Points), func(v *recordv1.PointView) bool { return !f.point(b, v) })
	b.Boxes = slices.DeleteFunc(slices.Clone(b.Boxes), func(v *recordv1.BoxView) bool { return !f.box(b, v) })
	b.Requests = slices.DeleteFunc(slices.Clone(b.Requests), func(v *recordv1.RequestView) bool { return !f.request(v) })
	b.SignedOn = slices.DeleteFunc(slices.Clone(b.SignedOn), func(v *recordv1.SignOnView) bool { return !f.signOn(v, jobs[v.GetJob()]) })
	b.Permits = slices.DeleteFunc(slices.Clone(b.Permits), func(v *recordv1.PermitView) bool { return !f.permit(v) })
	b.Jobs = slices.DeleteFunc(slices.Clone(b.Jobs), func(v *recordv1.JobView) bool { return !f.ofJob(v) })
	b.Holds = slices.DeleteFunc(slices.Clone(b.Holds), func(v *recordv1.HoldView) bool { return !f.hold(v) })
}

func (f filter) here(places ...string) bool {
	return f.at == "" || slices.ContainsFunc(places, func(s string) bool { return ledger.YardOf(s) == f.at })
}

func (f filter) who(people ...string) bool {
	return f.person == "" || slices.Contains(people, f.person)
}

func (f filter) hold(v *recordv1.HoldView) bool {
	return f.here(append(slices.Clone(v.GetCovers()), v.GetTarget())...) && f.who(v.GetHolder()) && (f.job == "" || v.GetJob() == f.job)
}

func (f filter) ofJob(v *recordv1.JobView) bool {
	people := append(append([]string{v.GetResponsible()}, v.GetCrew()...), v.GetAffected()...)
	for _, s := range v.GetSignedOn() {
		people = append(people, s.GetPerson())
	}
	for _, h := range v.GetHolds() {
		people = append(people, h.GetHolder())
	}
	return f.here(append(slices.Clone(v.GetPlan()), v.GetZone())...) && f.who(people...) && (f.job == "" || v.GetId() == f.job) && inState("STAGE_", v.GetStage().String(), f.state)
}

func (f filter) permit(v *recordv1.PermitView) bool {
	return f.here(v.GetZone()) && f.who(slices.Concat(v.GetNamed(), v.GetWatchers(), []string{v.GetIssuedBy()})...) && (f.job == "" || v.GetJob() == f.job)
}

func (f filter) request(v *recordv1.RequestView) bool {
	return f.here(v.GetPoints()...) && f.who(v.GetRequester()) && (f.job == "" || v.GetJob() == f.job) && inState("REQUEST_STATE_", v.GetState().String(), f.state)
}

func (f filter) signOn(v *recordv1.SignOnView, j *recordv1.JobView) bool {
	// If the job is not known, show a person inside rather than leave them out.
	return (j == nil || f.here(append(slices.Clone(j.GetPlan()), j.GetZone())...)) && f.who(v.GetPerson()) && (f.job == "" || v.GetJob() == f.job)
}

// point and box: if a person or job is given, they are shown when a lock on them is.
func (f filter) point(b *recordv1.Board, v *recordv1.PointView) bool {
	inPlan := slices.ContainsFunc(b.GetJobs(), func(j *recordv1.JobView) bool {
		return j.GetId() == f.job && slices.Contains(j.GetPlan(), v.GetPoint())
	})
	return f.here(v.GetPoint()) && (f.person == "" && f.job == "" || inPlan && f.person == "" || f.anyHold(b, v.GetHolds()))
}

func (f filter) box(b *recordv1.Board, v *recordv1.BoxView) bool {
	return f.here(v.GetBox()) && (f.person == "" && f.job == "" || f.anyHold(b, v.GetHolds()))
}

func (f filter) anyHold(b *recordv1.Board, refs []string) bool {
	f.at = ""
	return slices.ContainsFunc(b.GetHolds(), func(h *recordv1.HoldView) bool { return slices.Contains(refs, h.GetRef()) && f.hold(h) })
}

// knownState refuses a word that no state has. An empty list would read as if there were
// nothing.
func (f filter) knownState(c *cobra.Command, prefix string, values map[string]int32) error {
	if f.state == "" {
		return nil
	}
	_, err := pick(c, "state", prefix, f.state, values)
	return err
}
