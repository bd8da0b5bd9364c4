package yard

const (
	removals   = "ledger/removal.go"
	handOvers  = "ledger/handover.go"
	keyRules   = "ledger/keys.go"
	recoveries = "ledger/recovery.go"
	journals   = "ledger/journal.go"
	authority  = "ledger/authority.go"
	starteds   = "ledger/started.go"
	records    = "replica/yard/record.go"
	files      = "replica/yard/file.go"
	compacts   = "replica/yard/compact.go"
)

// laterMutants break the rules of what came after the first protocol: several
// people's acts, keys, starts found, and disks lost, copied and shortened.
var laterMutants = []mutant{
	// Removal by two managers.
	{name: "removal-second-is-no-manager", config: "removal", sample: true, why: "two managers order a removal",
		edits: cut(removals, `!x.s.People[second].Has(manager)`, `x.s.People[second] == nil`)},
	{name: "removal-of-ones-own-lock", config: "removal-own", why: "nobody removes their own as an absent person's",
		edits: cut(removals, `(h.Holder == x.who.ID || h.Holder == r.GetSecond())`, `h.Holder == ""`)},
	{name: "removal-by-one-hand", config: "removal-one-hand", why: "one hand with two keys is one manager",
		edits: cut(keyRules, `overlap(s.couldSignWith(a), s.couldSignWith(b))`, `a == b`)},
	{name: "removal-ends-all-of-the-holder", config: "removal", why: "C7: a removal ends the hold it names",
		edits: cut(removals, `x.takeOff(h, OffByRemoval`, "for _, o := range s.HoldsOn(h.Point) {\n\t\tif o != h {\n\t\t\tx.takeOff(o, nil)\n\t\t}\n\t}\n\tx.takeOff(h, OffByRemoval")},
	{name: "removal-kept-quiet", config: "removal", why: "the holder is told before working again, 1910.147(e)(3)(iii)",
		edits: cut(removals, `s.raise(ref, u.finding(), x.mark)`, ``)},
	// Hand-over.
	{name: "hand-over-loose", config: "hand-over-removed", why: "I5: the lock that stays is on",
		edits: cut(handOvers, `!x.holdStands(off, offRef) || !x.holdStands(on, onRef)`, `!x.holdStands(off, offRef) || on == nil`)},
	{name: "hand-over-to-another-target", config: "hand-over", why: "I5: no gap",
		edits: cut(handOvers, `case off.Target() != on.Target():`, `case off.Target() == "":`)},
	{name: "hand-over-to-oneself", config: "hand-over-own", why: "I5: somebody else is protected after it",
		edits: []edit{{handOvers, `case off.Holder == on.Holder:`, `case off.Target() == on.Holder:`}, {handOvers, `if !slices.Contains(concerned, id) {`, `if id == "" {`}}},
	{name: "hand-over-in-a-circle", config: "hand-over", why: "I5: a lock that stays does not come off",
		edits: cut(handOvers, `f.must(!offs[RefOf(p.GetOn())],`, `f.must(!offs[RefOf(p.GetOn())] || n > 0,`)},
	{name: "hand-over-signed-by-one", config: "hand-over", why: "both sign",
		edits: []edit{{handOvers, `if id != "" && !slices.Contains(signed, id) {`, `if id == "-" && !slices.Contains(signed, id) {`}, {handOvers, `if !slices.Contains(concerned, id) {`, `if id == "" {`}}},
	// Keys.
	{name: "younger-key-releases", config: "key-reissued", sample: true, why: "a key enrolled later ends no older lock",
		edits: cut(keyRules, `k != nil && k.Since <= h.Since`, `k != nil`)},
	{name: "younger-key-hands-over", config: "key-hand-over", why: "nor hands it over",
		edits: cut(handOvers, `x.mayEnd(off, off.Holder)`, ``)},
	{name: "younger-key-signs-off", config: "key-sign-on", why: "nor ends an older sign-on",
		edits: cut(signOns, `case x.signingKey(x.who.ID).Since > so.Since:`, `case x.signingKey(x.who.ID) == nil:`)},
	{name: "lock-under-way-is-younger", config: "key-hand-over", sample: true, why: "nor a lock that was under way when the key was given",
		edits: cut(keyRules, `k != nil && k.Revoked > 0 {`, `k != nil && k.Revoked > x.mark.Index {`)},
	{name: "reissued-key-beside-the-old", config: "key-reissued", why: "a lost key ends nothing any more",
		edits: cut(keyRules, `k.Person == p.ID && k.Revoked == 0`, `k.Person == "" && k.Revoked == 0`)},
	{name: "replaced-key-lives-on", config: "key-replaced", why: "nor does a key that was replaced",
		edits: cut(keyRules, `old.Revoked = max(x.mark.Index, 1)`, ``)},
	{name: "revoked-key-lifts", config: "key-reissued", why: "decision 2: what lifts protection needs a live key",
		edits: []edit{{authority, `case key.Revoked > 0 && k.Class == Lifts:`, `case key.Revoked > 0 && x.who.ID == "":`}, {captures, `if k.Class == ledger.Lifts && key.Revoked > 0 {`, `if k.Class == ledger.Lifts && by == "" {`}}},
	{name: "replaced-key-counts-as-younger", config: "key-replaced", why: "the old key signed for the new one",
		edits: cut(keyRules, `Since: old.Since, By: old.By}`, `Since: x.mark.Index, By: old.By}`)},
	{name: "claim-of-a-held-lock", config: "claim-other", why: "only a lock without an owner is claimed",
		edits: cut(handOvers, `if x.holdStands(h, ref) && h.Holder != "" {`, `if x.holdStands(h, ref) && h.Holder == "-" {`)},
	{name: "claim-borne-out-by-anybody", config: "claim", why: "a supervisor or manager bears the owner out",
		edits: cut(handOvers, `if w := s.People[c.GetWitness()]; !w.Has(supervisor, manager) {`, `if w := s.People[c.GetWitness()]; w == nil {`)},
	{name: "claim-by-one-hand", config: "claim-one-hand", sample: true, why: "not with a key that the witness gave",
		edits: cut(handOvers, `x.notOneHand(c.GetWitness(),`, `x.notOneHand("",`)},
	// Found started.
	{name: "started-ignored-here", config: "started", why: "decision 4: what was found started is live at once",
		edits: cut(records, `it.kind == "found_started" &&`, `it.kind == "" &&`)},
	{name: "started-ignored-by-the-ledger", config: "started", why: "and in the ledger",
		edits: cut(starteds, "\t\t\tx.foundClosedBy(p, x.who.ID)\n", "")},
	{name: "started-kept-quiet", config: "started", why: "it is raised at every yard",
		edits: cut(starteds, `s.raise(st.Ref, found, x.mark)`, ``)},
	{name: "started-refused", config: "started", why: "it can always be recorded",
		edits: cut(starteds, `Class: Protects, May: anybody()`, `Class: Lifts, May: whoIsQualified()`)},
	{name: "started-energises", config: "started", why: "it is never an approval",
		edits: cut(starteds, "\ts.Started[st.Ref] = st\n", "\ts.Started[st.Ref] = st\n\tfor _, q := range s.Reqs {\n\t\tif overlap(q.Points, st.Points) {\n\t\t\tq.Energised = st.Points\n\t\t}\n\t}\n")},
	// Lost disks.
	{name: "no-epoch-check", config: "disk-lost", why: "C9: what the lost journal wrote counts no more",
		edits: []edit{{journals, `case env.GetEpoch() < y.Epoch:`, `case env.GetEpoch() == 0:`}, {journals, `case !bytes.Equal(x.e.envKey, y.Key):`, `case len(x.e.envKey) == 0:`},
			{journals, `case env.GetEpoch() != y.Epoch:`, `case env.GetEpoch() == 0:`}, {journals, `y.Drained == 0 && len(env.GetPrevious()) > 0:`, `false:`}}},
	{name: "walkdown-forgets-locks", config: "disk-lost", sample: true, why: "C8: what hangs is entered again",
		edits: cut(recoveries, `for _, l := range r.GetLocks() {
		h := &Hold`, `for _, l := range r.GetLocks()[:0] {
		h := &Hold`)},
	{name: "walkdown-merges", config: "disk-lost-two-known", why: "C8: a lock found is a new hold",
		edits: cut(recoveries, "\t\tfrom := len(x.out.Flags)\n", "\t\tfrom := len(x.out.Flags)\n\t\tif len(s.holdsAt(h.Target())) > 0 {\n\t\t\tcontinue\n\t\t}\n")},
	{name: "walkdown-ignores-closed-switch", config: "disk-lost-closed", why: "decision 12: a switch found closed is live",
		edits: cut(recoveries, `x.foundClosedBy(s.Points[id], x.who.ID, r.GetSecond())`, `_ = id`)},
	{name: "walkdown-forgets-people", config: "disk-lost-inside", why: "decision 12: people found inside count as signed on",
		edits: cut(recoveries, `s.SignOns[so.Ref], s.inside[so.Ref] = so, so`, ``)},
	{name: "recovery-by-one-manager", config: "disk-lost", why: "two managers walk the yard",
		edits: cut(recoveries, `x.secondIsManager(r.GetSecond(), "")`, ``)},
	{name: "recovery-by-one-hand", config: "disk-lost-one-hand", why: "one hand with two keys is one manager",
		edits: cut(recoveries, `x.notOneHand(r.GetSecond(),`, `x.notOneHand("",`)},
	{name: "recovered-with-the-old-machine-on", config: "old-machine-on", sample: true, why: "C10: cut off, it would go on promising",
		edits: cut(recoveries, `if !r.GetOldMachineOff() {`, `if r.GetEpoch() == 0 {`)},
	{name: "fresh-disk-serves-unrecovered", config: "disk-lost-box", why: "C11: only after a walkdown",
		edits: []edit{{yards, `if !bytes.Equal(me.Key, y.key.Public().(ed25519.PublicKey)) {
		return about(OtherMachine)`, `if len(me.Key) == 0 {
		return about(OtherMachine)`}, {yards, `if me.Drained > last {`, `if me.Drained > last && me.Cloned {`}, {yards, `if !y.agrees(me) {`, `if me.Cloned && !y.agrees(me) {`}}},
	// A copied disk.
	{name: "second-record-unnoticed", config: "copied-disk", sample: true, why: "decision 1: two envelopes for one place prove a copied disk",
		edits: cut(journals, `x.cloned(y, "two-records-with-one-number")
			return`, `return`)},
	{name: "copied-yard-goes-on", config: "copied-disk", why: "decision 1: the yard stops",
		edits: cut(journals, `case y.Cloned:`, `case y.Cloned && y.Epoch == 0:`)},
	{name: "copied-yard-keeps-requests", config: "copied-disk", why: "decision 1: nothing waits for its word",
		edits: cut(journals, `q.open() && slices.Contains(q.Involved, y.ID)`, `q == nil && slices.Contains(q.Involved, y.ID)`)},
	{name: "copied-disk-kept-quiet", config: "copied-disk", why: "decision 1: the alarm",
		edits: cut(journals, `x.s.raise(y.ID, ClonedJournal.About(y.ID, y.ID, how), x.mark)`, ``)},
	// Journals that are not all there.
	{name: "tail-mark-unchecked", config: "shortened", sample: true, why: "decision 7: the journal ends where it was acknowledged",
		edits: []edit{{files, `if m.Seq > last {`, `if m.Seq == ^uint64(0) {`}, {files, `if hash != m.Hash {`, `if m.Seq <= last && hash != m.Hash {`},
			{files, `if m.Seq > h.Compacted {`, `if m.Seq > h.Compacted && m.Seq <= last {`}}},
	{name: "journal-shorter-than-the-ledger", config: "older-image", why: "decision 7: the ledger has no more of it than the disk",
		edits: []edit{{yards, `if me.Drained > last {`, `if me.Drained > last && me.Cloned {`}, {yards, `if !y.agrees(me) {`, `if me.Cloned && !y.agrees(me) {`}}},
	// Power lost while cut off.
	{name: "compacted-journal-rests-on-too-little", config: "restart-compacted", why: "decision 11: it promises again with what its journal rests on",
		edits: cut(compacts, `max(it.RaftIndex, y.applied)`, `it.RaftIndex`)},
	{name: "out-of-service-after-power-loss", config: "restart", why: "decision 11: it promises again with what its journal rests on",
		edits: cut(yards, `if y.applied < y.floor() {`, `if y.applied < y.floor() || y.applied == y.floor() && !y.inside {`)},
	// What the explorer can't reach is shown by a test of the package that has it.
	{name: "committed-log-not-restored", pkg: "./replica", run: "^TestPowerLossWhileCutOff$", why: "decision 11: what the journal rests on was committed",
		edits: cut("replica/quorum/recover.go", `min(max(commit, floor), last)`, `min(commit, floor, from-1)`)},
	{name: "confirmed-without-a-barrier", pkg: "./replica", run: "^TestTwoOfThreeStopped$", why: "C6: CONFIRMED only behind a quorum read",
		edits: cut("replica/lockreceipt.go", `drained && r.confirm(ctx) == nil && `, `drained && `)},
	// The rest of the protocol's own model.
	{name: "membership-not-journaled", config: "box-moves-away", why: "C1: a key moves only in the box's home journal",
		edits: []edit{{captures, `if homeOnly && home != c.yard {`, `if homeOnly && home == "" {`}, {boxes, "x.deny(UnknownBox, b.GetBox(), b.GetBox())\n\t\treturn\n\tcase box.Yard != x.env.GetYard():", "x.deny(UnknownBox, b.GetBox(), b.GetBox())\n\t\treturn\n\tcase box.Yard == \"\":"}}},
	{name: "fence-lifted-by-local-clock", config: "box-fast-clock", why: "C14: no clock of a yard lifts its fence",
		edits: []edit{{rules, "\tv    *ledger.State\n", "\tv    *ledger.State\n\tnow  int64\n"}, {captures, "c := y.scene()\n\tif err := y.admit", "c := y.scene()\n\tc.now = now\n\tif err := y.admit"},
			{rules, `q.Open() && slices.Contains(q.Points, p)`, `q.Open() && slices.Contains(q.Points, p) && c.now < q.Deadline`}}},
	{name: "used-place-taken-again", config: "live-start", why: "C4: every record once",
		edits: []edit{{journals, `case env.GetSeq() <= y.Drained:`, `case env.GetSeq() == 0:`}, {journals, `case env.GetSeq() != y.Drained+1:`, `case env.GetSeq() > y.Drained+1:`},
			{journals, `case y.Drained > 0 && !bytes.Equal(env.GetPrevious(), y.lastHash()) ||`, `case y.Drained > 0 && env.GetSeq() == 0 ||`}, {journals, `y.Drained++`, `y.Drained = max(y.Drained, env.GetSeq())`},
			{"ledger/tickets.go", `case class == Protects:`, `case class >= Protects:`}, {pointsGo, `m != p.Moved {
		x.note(StaleOpening`, `m.Epoch == 99 {
		x.note(StaleOpening`}}},
}
