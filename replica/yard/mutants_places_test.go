package yard

const (
	places    = "ledger/place.go"
	presences = "ledger/presence.go"
	permits   = "ledger/permit.go"
)

// inLedger is the test that shows what the explorer does not model.
const inLedger = "^TestOnePlaceTwoNames$"

// placeMutants answer "who may be hurt if these points close?" by a zone's name, or do
// not ask it, in each place where it is asked (decisions.md 32).
var placeMutants = []mutant{
	{name: "two-names-two-places", config: "names", sample: true, why: "zones that share grain, air or a chemical are one place",
		edits: cut(places, `if other, known := at[node]; known {`, `if other, known := at[node]; known && other == i {`)},
	{name: "place-forgets-older-names", pkg: "./ledger", run: inLedger, why: "what a name ever meant counts",
		edits: cut(drawings, `s.remember()`, "s.Meant = map[string]map[string]bool{}\n\ts.remember()")},
	{name: "place-knows-grain-alone", pkg: "./ledger", run: inLedger, why: "air surrounds people as well",
		edits: cut("ledger/energy/zone.go", `m == recordv1.Medium_MEDIUM_GRAIN || m == recordv1.Medium_MEDIUM_AIR`, `m == recordv1.Medium_MEDIUM_GRAIN || m == recordv1.Medium_MEDIUM_CHEMICAL`)},
	{name: "place-by-a-shaft", pkg: "./ledger", run: inLedger, why: "what only moves or carries current makes no place one",
		edits: cut(places, `|| p.Surrounds()`, `|| len(p.Media) > 0`)},
	{name: "request-asks-nobody", pkg: "./ledger", run: inLedger, why: "a request is refused over people",
		edits: cut(against, `return append(cs, s.againstStart(j, asked, points)...)`, `return cs`)},
	{name: "energise-asks-nobody", config: "names", sample: true, why: "and so is the energise: somebody came in between",
		edits: cut(energises, `x.out.Conditions = append(x.out.Conditions, s.againstStart(s.Jobs[q.Job], q, []string{p.ID})...)`, ``)},
	{name: "goahead-over-people-by-another-name", config: "names", sample: true, why: "the go-ahead is hidden over them",
		edits: cut(rules, `c.v.Exposed([]string{p}, q)`, `c.v.Exposed(nil, q)`)},
	{name: "goahead-over-an-undrained-sign-on-by-another-name", config: "names", why: "and over those who signed on here",
		edits: cut(rules, `|| c.reaches(p, it.job, true)) {`, `|| c.yard == "") && it.Envelope == nil {`)},
	{name: "locks-for-work-there-are-nobody", pkg: "./ledger", run: inLedger, why: "who has a lock on for work there is there",
		edits: cut(presences, `out = append(out, Exposure{By: ByLock,`, `_ = append(out, Exposure{By: ByLock,`)},
	{name: "entered-under-a-permit-is-nobody", pkg: "./ledger", run: inLedger, why: "who went in under a permit is inside, signed on or not",
		edits: cut(presences, `out = append(out, Exposure{By: ByBinEntry,`, `_ = append(out, Exposure{By: ByBinEntry,`)},
	{name: "hot-work-is-nobody", pkg: "./ledger", run: inLedger, why: "nor is hot work over before somebody says so",
		edits: cut(presences, `case !p.Done.Set(): // the`, `case p.Done.Set(): // the`)},
	{name: "permit-looks-by-name", pkg: "./ledger", run: inLedger, why: "no permit is issued or closed with somebody inside by another name",
		edits: cut(presences, `!s.samePlace(e.Zone, zone)`, `e.Zone != zone`)},
	{name: "permit-while-asked-by-another-name", pkg: "./ledger", run: inLedger, why: "nor while a start is asked for that reaches the place",
		edits: cut(permits, `overlap(s.reachOf(p.Zone), q.Points)`, `q.Job == p.Job`)},
	{name: "narrowed-over-people-by-another-name", config: "names-trimmed", sample: true, why: "decision 9: refused while somebody is in the place",
		edits: cut(presences, `!s.samePlace(e.Zone, zone)`, `e.Zone != zone`)},
	{name: "narrowed-by-another-yard", pkg: "./ledger", run: inLedger, why: "decision 9: a yard that is cut off may have promised the point",
		edits: cut(narrowGo, `if YardOf(z) == YardOf(zone) {`, `if z != "" {`)},
	{name: "undrained-narrowing-of-another-name-forgotten", config: "names-trimmed", sample: true, why: "decision 9: while one is undrained, nothing is promised at sign-on",
		edits: cut(rules, `slices.Contains(names, it.narrows)`, `slices.Contains(names, it.narrows) && it.narrows == zone`)},
	{name: "promise-of-one-name", pkg: "./replica/yard", run: inLedger, why: "promised is what reaches any zone of the place",
		edits: cut(rules, `c.v.ReachNow(j.Zone, c.barrier)`, `c.v.Graph().ReachNow(c.barrier, j.Zone)`)},
	{name: "other-names-yard-not-asked", pkg: "./ledger", run: inLedger, why: "every yard that may have promised it is asked",
		edits: cut(requests, `if overlap(s.reachOf(z), points) {`, `if s.drawn(z) && YardOf(z) == YardOf(points[0]) {`)},
	{name: "removal-tells-of-nobody", pkg: "./ledger", run: inLedger, why: "who else the lock kept safe is named",
		edits: cut(removals, `x.noteExposed(covered,`, `x.noteExposed(nil,`)},
	{name: "recovery-tells-of-nobody", pkg: "./ledger", run: inLedger, why: "protocol.md C11: somebody may have been told to close a point",
		edits: cut(recoveries, `x.noteExposed(live,`, `x.noteExposed(nil,`)},
	{name: "found-closed-tells-of-nobody", pkg: "./ledger", run: inLedger, why: "the alarm names who may be hurt",
		edits: cut(pointsGo, `range x.s.Exposed([]string{p.ID}, nil) {`, `range x.s.Exposed(nil, nil) {`)},
}
