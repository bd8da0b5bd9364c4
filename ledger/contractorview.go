package ledger

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Outsider reports whether a board shows a person as a contractor of another
// employer than the co-op.
func Outsider(b *recordv1.Board, person string) bool {
	for _, p := range b.GetPeople() {
		if p.GetId() == person {
			return slices.Contains(p.GetRoles(), contractor) && p.GetEmployer() != b.GetCoop()
		}
	}
	return false
}

// Concerns reports whether a job is one of a person's: they are on a crew of it,
// signed on to it, or have a lock on for it.
func Concerns(j *recordv1.JobView, person string) bool {
	return j.GetResponsible() == person || slices.Contains(j.GetCrew(), person) ||
		slices.ContainsFunc(j.GetMembers(), func(m *recordv1.MemberView) bool { return m.GetPerson() == person }) ||
		slices.ContainsFunc(j.GetSignedOn(), func(s *recordv1.SignOnView) bool { return s.GetPerson() == person }) ||
		slices.ContainsFunc(j.GetHolds(), func(h *recordv1.HoldView) bool { return h.GetHolder() == person && !h.GetFound() })
}

// ContractorView is what a person of an outside employer sees of a board: their
// jobs, their locks, the points of their plans, the alarms that touch them, what
// was exchanged with their employer, and of people only themself. It is a copy.
// A replica shows them no more of a board, and of the history only their own records.
func ContractorView(b *recordv1.Board, person string) *recordv1.Board {
	v := &recordv1.Board{AsOf: b.GetAsOf(), Coop: b.GetCoop(), Yards: b.GetYards()}
	employer := ""
	for _, p := range b.GetPeople() {
		if p.GetId() == person {
			v.People, employer = []*recordv1.PersonView{p}, p.GetEmployer()
		}
	}
	words := map[string]bool{person: true}
	mine, points, zones := map[string]bool{}, map[string]bool{}, map[string]bool{}
	told := map[string]bool{}
	for _, j := range b.GetJobs() {
		if !Concerns(j, person) {
			continue
		}
		v.Jobs = append(v.Jobs, j)
		mine[j.GetId()], zones[j.GetZone()] = true, true
		words[j.GetId()], words[j.GetZone()] = true, true
		for _, p := range j.GetPlan() {
			points[p], words[p] = true, true
		}
		for _, a := range j.GetAlarms() {
			told[a] = true
		}
	}
	for _, h := range b.GetHolds() {
		if own := h.GetHolder() == person && !h.GetFound(); own || mine[h.GetJob()] || slices.ContainsFunc(h.GetCovers(), func(p string) bool { return points[p] }) {
			v.Holds = append(v.Holds, h)
			if own {
				words[h.GetRef()] = true
				for _, p := range append(slices.Clone(h.GetCovers()), h.GetTarget()) {
					points[p], words[p] = true, true
				}
			}
		}
	}
	for _, w := range b.GetWrittenHere() {
		// What they wrote down here and nobody else knows of is theirs to see above all.
		if w.GetSigner() == person || mine[w.GetAbout()] || points[w.GetAbout()] {
			v.WrittenHere = append(v.WrittenHere, w)
		}
	}
	for _, m := range b.GetPermits() {
		if mine[m.GetJob()] || slices.Contains(m.GetNamed(), person) || slices.Contains(m.GetWatchers(), person) {
			v.Permits = append(v.Permits, m)
		}
	}
	for _, s := range b.GetSignedOn() {
		if s.GetPerson() == person || mine[s.GetJob()] {
			v.SignedOn = append(v.SignedOn, s)
			words[s.GetRef()] = words[s.GetRef()] || s.GetPerson() == person
		}
	}
	for _, p := range b.GetPoints() {
		if points[p.GetPoint()] {
			v.Points = append(v.Points, p)
		}
	}
	for _, x := range b.GetBoxes() {
		if points[x.GetBox()] || slices.ContainsFunc(x.GetPoints(), func(p string) bool { return points[p] }) {
			v.Boxes = append(v.Boxes, x)
		}
	}
	for _, r := range b.GetRequests() {
		if mine[r.GetJob()] || slices.ContainsFunc(r.GetPoints(), func(p string) bool { return points[p] }) {
			v.Requests = append(v.Requests, r)
		}
	}
	for _, a := range b.GetAlarms() {
		if told[a] || mentions(a, words) || strings.Contains(a, UnderFumigant) {
			v.Alarms = append(v.Alarms, a)
		}
	}
	for _, d := range b.GetDue() {
		if d.GetSubject() == person {
			v.Due = append(v.Due, d)
		}
	}
	for _, p := range b.GetProcedures() {
		if zones[p.GetZone()] {
			v.Procedures = append(v.Procedures, p)
		}
	}
	for _, e := range b.GetExchanges() {
		if e.GetEmployer() == employer {
			v.Exchanges = append(v.Exchanges, e)
		}
	}
	return proto.CloneOf(v)
}

// mentions reports whether a text has one of the names as a whole word.
func mentions(text string, names map[string]bool) bool {
	return slices.ContainsFunc(strings.FieldsFunc(text, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < 'A' || r > 'Z') && (r < '0' || r > '9') && r != '-' && r != '/'
	}), func(w string) bool { return names[w] })
}
