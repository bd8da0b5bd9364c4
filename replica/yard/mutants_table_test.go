package yard

// edit is one change of a shipped file, by its path in the module. The old text
// must stand there exactly once, so that a mutant can't lapse unseen.
type edit struct{ file, old, new string }

const (
	rules     = "replica/yard/rules.go"
	panels    = "replica/yard/panel.go"
	captures  = "replica/yard/capture.go"
	yards     = "replica/yard/yard.go"
	requests  = "ledger/request.go"
	against   = "ledger/againststart.go"
	energises = "ledger/energise.go"
	holds     = "ledger/hold.go"
	locks     = "ledger/lock.go"
	boxes     = "ledger/box.go"
	pointsGo  = "ledger/point.go"
	drawings  = "ledger/drawing.go"
	jobs      = "ledger/job.go"
	narrowGo  = "ledger/narrow.go"
	signOns   = "ledger/signon.go"
)

// mutant is a rule broken on purpose, and the configuration that shows it.
type mutant struct {
	name, config string
	why          string
	sample       bool // in the default run
	edits        []edit
	pkg, run     string // a test other than TestExplore that shows it; config is empty then
}

func cut(file, old, new string) []edit { return []edit{{file, old, new}} }

// mutants each break one rule; the exploration must show each.
var mutants = []mutant{
	{name: "no-fence", config: "box", sample: true, why: "protocol.md: an open request blocks promises",
		edits: cut(rules, `q.Open() && slices.Contains(q.Points, p)`, `q == nil && slices.Contains(q.Points, p)`)},
	{name: "fence-dropped-at-attest", config: "box", why: "C14: the yard's own word does not lift its fence",
		edits: cut(rules, `q.Open() && slices.Contains(q.Points, p)`, `q.Open() && slices.Contains(q.Points, p) && slices.Contains(c.unfenced(), id)`)},
	{name: "fence-lifted-at-own-attest-applied", config: "box", why: "C14, once the ledger has it",
		edits: cut(rules, `q.Open() && slices.Contains(q.Points, p)`, `q.Open() && slices.Contains(q.Points, p) && !slices.Contains(q.Attested, c.yard)`)},
	{name: "fence-lifted-at-approval", config: "box", why: "C14: approval does not lift it",
		edits: cut(rules, `q.Open() && slices.Contains(q.Points, p)`, `q.State == recordv1.RequestState_REQUEST_STATE_AWAITING && slices.Contains(q.Points, p)`)},
	{name: "energise-not-via-home", config: "foreign", why: "C4: only the home panel energises and opens",
		edits: []edit{{captures, `if homeOnly && home != c.yard {`, `if homeOnly && home == "" {`}, {pointsGo, `if p.Yard != x.env.GetYard() {`, `if p.Yard == "" {`}}},
	{name: "lock-neither-voids-nor-blocks", config: "point", sample: true, why: "protocol.md 3.2: a lock voids what is asked for",
		edits: []edit{{locks, `q.open() && overlap(q.Points, pts)`, `q == nil && overlap(q.Points, pts)`},
			{energises, `for _, h := range s.HoldsOn(p.ID) {`, `for _, h := range s.HoldsOn("") {`}}},
	{name: "held-locally-at-non-home", config: "point", why: "decision 5: home only",
		edits: cut(rules, "if home != c.yard {\n\t\treturn recordv1.Grant_GRANT_UNCONFIRMED", "if home != c.yard && c.yard == \"\" {\n\t\treturn recordv1.Grant_GRANT_UNCONFIRMED")},
	{name: "live-unknown", config: "live-start", sample: true, why: "decision 5: never on a live point",
		edits: cut(rules, "\t\tif c.live(p) {\n\t\t\treturn recordv1.Grant_GRANT_LIVE", "\t\tif c.live(p) && c.yard == \"\" {\n\t\t\treturn recordv1.Grant_GRANT_LIVE")},
	{name: "promise-of-nothing", config: "box-add", why: "decision 5: an empty set is no promise",
		edits: cut(rules, `if len(points) == 0 {`, `if len(points) < 0 {`)},
	{name: "box-yard-not-involved", config: "box", why: "protocol.md 3.3: the box yard's word is needed",
		edits: cut(requests, `if overlap(sorted(s.Boxes[id].Points), points) {`, `if overlap(nil, points) {`)},
	{name: "holds-on-boxes-ignored", config: "box", sample: true, why: "a lock on a box covers what is in it",
		edits: cut(holds, "if b := s.Boxes[h.Box]; b != nil {\n\t\t_, in := b.Points[point]\n\t\treturn in", "if b := s.Boxes[h.Box]; b != nil {\n\t\t_, in := b.Points[point]\n\t\treturn in && point == \"\"")},
	{name: "ledger-accepts-seq-gap", config: "box", sample: true, why: "C12: every record in its turn",
		edits: []edit{{journals, `case env.GetSeq() != y.Drained+1:`, `case env.GetSeq() == 0:`},
			{journals, `case y.Drained > 0 && !bytes.Equal(env.GetPrevious(), y.lastHash()) ||`, `case y.Drained > 0 && env.GetSeq() == 0 ||`},
			{journals, `y.Drained == 0 && len(env.GetPrevious()) > 0:`, `env.GetSeq() == 0:`}, {journals, `y.Drained++`, `y.Drained = env.GetSeq()`}}},
	{name: "energise-while-awaiting", config: "box", why: "every yard concerned has confirmed first",
		edits: []edit{{energises, "case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:\n\t\tx.deny(NotApproved", "case !q.open():\n\t\tx.deny(NotApproved"},
			{captures, `case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:`, `case !q.Open():`}}},
	{name: "energise-after-expiry", config: "box-expired", why: "an ended request energises nothing",
		edits: []edit{{energises, "case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:\n\t\tx.deny(NotApproved", "case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED && q.State != recordv1.RequestState_REQUEST_STATE_EXPIRED:\n\t\tx.deny(NotApproved"},
			{energises, "case s.Time >= q.Deadline:\n\t\tx.deny(RequestOver", "case s.Time < 0:\n\t\tx.deny(RequestOver"}}},
	{name: "energise-after-withdrawal", config: "box-withdrawn", why: "an ended request energises nothing",
		edits: cut(energises, "case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:\n\t\tx.deny(NotApproved", "case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED && q.State != recordv1.RequestState_REQUEST_STATE_WITHDRAWN:\n\t\tx.deny(NotApproved")},
	{name: "sent-before-durable", config: "torn", sample: true, why: "decision 8: write, answer, forward",
		edits: cut(yards, `if it.seq <= y.durable {`, `if it.seq > 0 {`)},
	{name: "one-attest-enough", config: "box", why: "all yards concerned, not one",
		edits: cut(requests, `len(q.Attested) < len(q.Involved)`, `len(q.Attested) == 0`)},
	{name: "goahead-not-revoked", config: "point", sample: true, why: "C3: an opening ends the go-ahead",
		edits: cut(captures, "case \"isolate\":\n\t\tdelete(y.asked, it.point)", "case \"isolate\":")},
	{name: "release-by-name", config: "two-locks-one-off", sample: true, why: "C7: a release ends the hold it names",
		edits: cut(locks, `x.takeOff(h, OffByRelease.About(ref, h.Holder))`, "for _, o := range x.s.HoldsOn(h.Point) {\n\t\t\tif o.Holder == h.Holder {\n\t\t\t\tx.takeOff(o, OffByRelease.About(ref, h.Holder))\n\t\t\t}\n\t\t}")},
	{name: "membership-remove-under-holds", config: "box-moves", why: "C1: no key out of a box that carries locks",
		edits: cut(boxes, `for _, h := range s.holdsAt(box.ID) {`, `for _, h := range s.holdsAt("") {`)},
	{name: "undrained-removal-ignored", config: "box-moves", why: "C1: a key taken out is not promised any more",
		edits: cut(rules, `if it.kind == "box_remove" && it.box == t.GetBox() {`, `if it.kind == "box_remove" && it.box == "" {`)},
	{name: "restart-without-floor", config: "restart-box", sample: true, why: "C5: out of service until as new as the journal",
		edits: cut(yards, `if y.applied < y.floor() {`, `if y.size == 0 {`)},
	{name: "restart-compacted-unchecked", config: "restart-compacted", why: "C5: and until the ledger has what the journal dropped",
		edits: []edit{{yards, `if me.Drained < y.h.Compacted {`, `if me.Drained+1 == 0 {`}, {yards, `if !y.agrees(me) {`, `if me.Cloned && !y.agrees(me) {`}, {yards, `if y.applied < y.floor() {`, `if y.size == 0 {`}}},
	{name: "goahead-not-hidden", config: "point", why: "decision 6: no go-ahead under a lock known here",
		edits: cut(panels, `v.Against = append(v.Against, c.standing(point, c.v.Reqs[a.Request])...)`, ``)},
	{name: "goahead-shown-over-own-lock", config: "point", why: "decision 6: own undrained locks too",
		edits: cut(rules, "if l := c.ownLock(p); l != nil {", "if l := c.ownLock(p); l != nil && p == \"\" {")},
	{name: "goahead-shown-over-own-sign-on", config: "zone", why: "decision 6: own undrained sign-ons too",
		edits: cut(rules, `if it.kind == "sign_on" && (`, `if it.kind == "" && (`)},
	{name: "goahead-shown-over-sign-ons", config: "zone", why: "decision 6: sign-ons in view too",
		edits: cut(rules, `c.v.Exposed([]string{p}, q)`, `c.v.Exposed(nil, q)`)},
	{name: "foundclosed-ignored", config: "found-closed", sample: true, why: "decision 4: found closed means live",
		edits: cut(rules, "moved = it.at\n\t\t\tlive = true", "moved = it.at")},
	{name: "foundclosed-keeps-goahead", config: "found-closed", why: "decision 4: found closed ends the go-ahead",
		edits: []edit{{captures, "case \"found_closed\":\n\t\tdelete(y.asked, it.point)", "case \"found_closed\":"}, {panels, `if c.moved(point) != a.At {`, `if a.At.Epoch == 0 {`}}},
	{name: "opening-sent-later", config: "late-opening", why: "decision 3: an act at a panel only in the run it was read in",
		edits: cut(captures, `if run != y.Run(it.point) {`, `if run == "" {`)},
	{name: "opening-from-before-the-energising", config: "late-opening", why: "decision 3: the run ends when the ledger takes the energising",
		edits: cut(panels, `y.handle[point], y.taken(point))`, `y.handle[point], false)`)},
	{name: "zone-yard-not-involved", config: "zone", sample: true, why: "decision 9: the zone's yard is asked",
		edits: cut(requests, `if overlap(s.reachOf(z), points) {`, `if overlap(nil, points) {`)},
	{name: "energise-ignores-sign-on", config: "zone", why: "decision 9: any sign-on stands against energising",
		edits: []edit{{against, `return append(cs, s.peopleConditions(q, points)...)`, `return cs`}, {against, `if id != j.ID && !o.Closed.Set() && o.begun()`, `if id == "" && o.begun()`}}},
	{name: "closed-job-forgets-people", config: "zone-job-closed", sample: true, why: "people whose job was closed under way are inside still",
		edits: cut(presences, `out = append(out, s.atWork(s.Jobs[id], q)...)`, "if !s.Jobs[id].Closed.Set() {\n\t\t\tout = append(out, s.atWork(s.Jobs[id], q)...)\n\t\t}")},
	{name: "sign-on-grant-ignores-requests", config: "zone-lock", sample: true, why: "decision 9: by the rule of a lock",
		edits: cut(rules, `g, why := c.grant(home, points)`, "g, why := c.grant(home, points)\n\tif g == recordv1.Grant_GRANT_CONTESTED {\n\t\tg, why = recordv1.Grant_GRANT_HELD_LOCALLY, nil\n\t}")},
	{name: "sign-on-promised-away", config: "zone-away", why: "decision 9: only at the zone's yard",
		edits: cut(rules, `home := ledger.YardOf(j.Zone)`, `home := c.yard`)},
	{name: "widened-reach-keeps-requests", config: "zone-widened", sample: true, why: "decision 9: a revision that widens voids",
		edits: cut(drawings, `if s.Reqs[id].open() {`, `if s.Reqs[id] == nil {`)},
	{name: "narrowed-at-once", config: "zone-narrowed", why: "decision 9: no revision narrows a zone by itself",
		edits: cut(places, `s.Reach[z] = union(s.Reach[z], all)`, `s.Reach[z] = union(nil, all)`)},
	{name: "sign-on-forgets-older-drawings", config: "zone-narrowed", why: "decision 9: what an older drawing shows still counts",
		edits: cut(rules, `points = append(points, older...)`, ``)},
	{name: "closing-ignored-here", config: "closing-bare", why: "decision 4: a closing written down after an opening is known here at once",
		edits: cut(rules, "case it.kind == \"closed\": // after an opening it was done with no go-ahead\n\t\t\tlive = true", "case it.kind == \"closed\":")},
	{name: "closing-without-go-ahead-is-a-note", config: "closing-bare", why: "reality beats the ledger: a closing with no go-ahead is found closed",
		edits: cut(pointsGo, `if m == p.Moved && !p.Live && p.Opened.Set()`, `if m == p.Moved && p.Live && p.Opened.Set()`)},
	{name: "narrowed-over-people", config: "zone-trimmed", sample: true, why: "decision 9: refused while somebody is signed on to the zone",
		edits: cut(narrowGo, `range s.presentAt(zone) {`, `range s.presentAt("") {`)},
	{name: "undrained-narrowing-forgotten", config: "zone-trimmed", sample: true, why: "decision 9: while one is undrained, nothing is promised at sign-on",
		edits: cut(rules, `case c.narrowing(j.Zone):`, `case c.narrowing(""):`)},
	{name: "narrowed-away", config: "zone-trimmed", why: "decision 9: only in the journal of the zone's yard",
		edits: []edit{{narrowGo, `if YardOf(zone) != x.env.GetYard() {`, `if zone == "" {`}, {captures, `home = ledger.YardOf(it.narrows)`, `home = c.yard`}}},
	{name: "other-signer-accepted", config: "imposter", sample: true, why: "decision 1: the yard's own key seals its journal",
		edits: cut(journals, `case !bytes.Equal(x.e.envKey, y.Key):`, `case len(x.e.envKey) == 0:`)},
	{name: "lock-refused-for-a-revoked-key", config: "revoked", sample: true, why: "decision 2: locks are never refused",
		edits: cut(authority, `case key.Revoked > 0 && k.Class == Lifts:`, `case key.Revoked > 0:`)},
	{name: "lock-refused-on-a-live-point", config: "live-start", why: "decision 2: locks are never refused",
		edits: cut(locks, `x.note(LockOnLivePoint, p, p)`, `x.deny(LockOnLivePoint, p, p)`)},
	{name: "broken-promise-kept-quiet", config: "revoked", sample: true, why: "protocol.md 5: the loudest alarm",
		edits: cut(locks, `x.promiseKept(h.Target())`, ``)},
	{name: "opening-by-a-revoked-key-counts-here", config: "revoked", why: "decision 3: what the ledger will not count does not count in ELIVE",
		edits: cut(rules, `if it.moved == moved && c.counts(it) {`, `if it.moved == moved {`)},
	{name: "retry-written-twice", config: "point", why: "decision 10: a retry gets the recorded answer",
		edits: cut(captures, `if old := y.repeat(it); old != nil {`, `if old := y.repeat(it); old != nil && run == "never" {`)},
}

// redundant ones break a guard behind another: the exploration is to find
// nothing. They stay as defence in depth.
var redundant = append(testRedundant, []mutant{
	{name: "pending-energise-ignored", config: "point", why: "no open request implies it (decision 5)",
		edits: cut(rules, "if c.pending(p) {\n\t\t\treturn", "if c.pending(p) && c.yard == \"\" {\n\t\t\treturn")},
	{name: "lock-does-not-void", config: "point", why: "Energise looks for locks itself",
		edits: cut(locks, `q.open() && overlap(q.Points, pts)`, `q == nil && overlap(q.Points, pts)`)},
	{name: "energise-over-holds", config: "point", why: "a lock voids the request",
		edits: cut(energises, `for _, h := range s.HoldsOn(p.ID) {`, `for _, h := range s.HoldsOn("") {`)},
	{name: "yard-asks-at-any-time", config: "point", why: "the ledger decides",
		edits: cut(captures, `case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:`, `case !q.Open():`)},
	{name: "goahead-ignores-request-state", config: "point", why: "an Energise that was accepted has one that stood",
		edits: cut(panels, `if q.State != recordv1.RequestState_REQUEST_STATE_APPROVED && q.State`, `if q.State == 99 && q.State`)},
	{name: "stale-opening-counts-in-the-ledger", config: "late-opening-found", why: "the run refuses it at the yard",
		edits: cut(pointsGo, `m != p.Moved {
		x.note(StaleOpening`, `m.Epoch == 99 {
		x.note(StaleOpening`)},
	{name: "moved-from-view-only", config: "found-closed-live", why: "the ledger takes the opening for stale, and so does the yard",
		edits: cut(rules, `if it.kind == "energise" && it.point == p || it.closes(p) {`, `if it.kind == "" && it.closes(p) {`)},
	{name: "compacted-floor-unchecked", config: "restart-compacted", why: "the last record's hash is compared too",
		edits: cut(yards, `if me.Drained < y.h.Compacted {`, `if me.Drained+1 == 0 {`)},
	{name: "box-add-under-a-request", config: "box-add", why: "a yard promises nothing that any open request covers (decision 5)",
		edits: cut(boxes, "if q := s.Reqs[id]; q.open() && slices.Contains(q.Points, p.ID) {", "if q := s.Reqs[id]; q == nil && slices.Contains(q.Points, p.ID) {")},
	{name: "goahead-survives-restart", config: "late-opening", why: "an opening from before the restart is refused, and another one ends it",
		edits: cut(yards, "\t\ty.keep(it)\n\t}\n\ty.durable", "\t\ty.keep(it)\n\t\ty.note(it)\n\t}\n\ty.durable")},
	{name: "stale-opening-counts-here", config: "late-opening-found", why: "the run refuses it at the yard",
		edits: cut(rules, `if it.moved == moved && c.counts(it) {`, `if (it.moved == moved || moved.Epoch < 99) && c.counts(it) {`)},
	{name: "home-yard-not-involved", config: "box", why: "the order in its own journal protects it",
		edits: cut(requests, `ys = append(ys, YardOf(p))`, `_ = p`)},
	{name: "recovery-keeps-requests", config: "disk-lost-box", why: "the lost journal's word is dead, and a fresh one writes its own after what was found",
		edits: cut(recoveries, `q.open() && slices.Contains(q.Involved, y.ID)`, `q == nil && slices.Contains(q.Involved, y.ID)`)},
	{name: "recovery-keeps-moved", config: "disk-lost-late", why: "a fresh disk is another run, and refuses an opening from before it",
		edits: cut(recoveries, `p.Moved = Moved{Epoch: y.Epoch}`, `_ = p`)},
	{name: "one-part-of-three-signs-for-a-hand-over", config: "hand-over", why: "a stranger's signature is refused too",
		edits: cut(handOvers, `if id != "" && !slices.Contains(signed, id) {`, `if id == "-" && !slices.Contains(signed, id) {`)},
	{name: "cloned-yard-serves", config: "copied-disk", why: "its journal and the ledger's do not agree",
		edits: cut(yards, "if me.Cloned {\n\t\treturn", "if me.Cloned && me.Epoch == 0 {\n\t\treturn")},
	{name: "box-add-live", config: "box-add-live", why: "a yard promises nothing that its view has live",
		edits: cut(boxes, "if p.Live {\n\t\tx.deny(KeyOfLivePoint", "if p.Holes == 0 {\n\t\tx.deny(KeyOfLivePoint")},
}...)
