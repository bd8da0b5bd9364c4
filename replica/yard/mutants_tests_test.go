package yard

const (
	clears = "ledger/standclear.go"
	views  = "ledger/view_lock.go"
)

// testMutants break the rules of tests and of standing clear (protocol.md C13).
var testMutants = []mutant{
	{name: "stand-clear-not-bound", config: "test-withdrawn", why: "C13: the word is for one test, not for the next",
		edits: cut(clears, `h.StoodClear() && h.Stood == q.ID && h.StoodFor == q.By.Index`, `h.StoodClear()`)},
	{name: "stand-clear-not-bound-to-the-index", pkg: "./ledger", run: "^TestAnOldWordIsForgotten$", why: "decision 24: an id may come again",
		edits: cut(clears, `h.Stood == q.ID && h.StoodFor == q.By.Index`, `h.Stood == q.ID`)},
	{name: "word-for-an-older-request-taken", config: "test", why: "C13: it names the request by its place too",
		edits: cut(clears, `case q.By.Index != c.GetAsked():`, `case c.GetAsked() == 0:`)},
	{name: "start-over-a-stood-clear-lock", config: "test-start", sample: true, why: "C13: it blocks every start until it is signed off",
		edits: cut(clears, `if q.Test() && !h.Equipment && h.Holder != "" {`, `if h.StoodClear() || q.Test() && !h.Equipment && h.Holder != "" {`)},
	{name: "test-approved-without-everybody", config: "test", sample: true, why: "I4: every holder stood clear first",
		edits: cut(requests, `q.Test() && len(x.s.notClear(q)) > 0`, `q.Test() && len(q.Points) == 0`)},
	{name: "boxes-not-asked-to-stand-clear", config: "test-box", why: "I4: nor is a lock on a box forgotten",
		edits: cut(clears, `!h.StoodClearFor(q) && overlap(s.Covers(h), q.Points)`, `!h.StoodClearFor(q) && h.Box == "" && overlap(s.Covers(h), q.Points)`)},
	{name: "stand-clear-for-a-start", config: "test-for-a-start", why: "1910.147(f)(1): only for a test or positioning",
		edits: cut(clears, `case !q.Test():
		x.deny`, `case q.ID == "":
		x.deny`)},
	{name: "stand-clear-by-another", config: "test", why: "1910.147(f)(1)(iii): each holder their own",
		edits: []edit{{clears, `case h.Holder != x.who.ID:`, `case h.Holder == "":`}, {clears, `case x.mayEnd(h, h.Holder) && q != nil:`, `case x.mayEnd(h, x.who.ID) && q != nil:`}}},
	{name: "younger-key-stands-clear", config: "test-key", why: "nor with a key that was enrolled after the lock",
		edits: cut(clears, `case x.mayEnd(h, h.Holder) && q != nil:`, `case q != nil:`)},
	{name: "word-moves-to-another-open-test", config: "test-box-withdrawn", why: "I4: the first test still rests on it",
		edits: cut(clears, `h.StoodClearFor(other) && other.open()`, `h.StoodClearFor(other) && other == nil`)},
	{name: "end-of-a-test-gives-protection-back", config: "test-withdrawn", why: "C13: nothing but a new lock does",
		edits: cut(requests, `RequestWithdrawn.About(q.ID, q.ID, x.who.ID, w.GetWhy()))`, "RequestWithdrawn.About(q.ID, q.ID, x.who.ID, w.GetWhy()))\n\t\tfor _, h := range x.s.active {\n\t\t\tif h.StoodClearFor(q) {\n\t\t\t\th.Stood = \"\"\n\t\t\t}\n\t\t}")},
	{name: "stood-clear-shows-as-protecting", config: "test", why: "C13: it protects nobody, and says so",
		edits: cut(views, `len(s.Covers(h)) > 0 && !h.StoodClear()`, `len(s.Covers(h)) > 0`)},
	{name: "stood-clear-shows-as-held", config: "test", why: "C13: the point is not held by it",
		edits: cut(views, `if len(s.Guarding(id)) > 0 {`, `if len(s.HoldsOn(id)) > 0 {`)},
	{name: "stood-clear-is-a-barrier-here", config: "test", why: "C13: it stops no energy, as the yard sees it",
		edits: cut(rules, `range c.v.Guarding(p) {`, `range c.v.HoldsOn(p) {`)},
	{name: "stood-clear-is-a-barrier-in-the-ledger", pkg: "./ledger", run: "^TestAfterStandingClear$", why: "C13: nor as the ledger sees it",
		edits: cut(places, `!pt.Live && len(s.Guarding(p)) > 0`, `!pt.Live && len(s.HoldsOn(p)) > 0`)},
	{name: "goahead-on-the-word-for-another-test", config: "test-box", why: "I4, I6: the panel binds the word to its request too",
		edits: cut(rules, `if h.StoodClearFor(q) {`, `if h.StoodClear() {`)},
	{name: "hand-over-of-a-stood-clear-lock", config: "test-hand-over", why: "I5: it has nothing to pass on, and can take nothing over",
		edits: cut(handOvers, `if h.StoodClear() {`, `if h.StoodClear() && h.Holder == "" {`)},
	{name: "hand-over-to-a-stood-clear-lock", config: "test-hand-over", why: "I5: the lock that stays protects",
		edits: cut(handOvers, `for _, h := range []*Hold{off, on} {`, `for _, h := range []*Hold{off} {`)},
	{name: "hand-over-from-a-stood-clear-lock", config: "test-hand-over", why: "I5: there is nothing to pass on",
		edits: cut(handOvers, `for _, h := range []*Hold{off, on} {`, `for _, h := range []*Hold{on} {`)},
}

// testRedundant are guards of tests that others back.
var testRedundant = []mutant{
	{name: "stand-clear-by-another-name", config: "test", why: "the holder's own key is looked for",
		edits: cut(clears, `case h.Holder != x.who.ID:`, `case h.Holder == "":`)},
	{name: "test-energised-without-a-second-look", config: "test", why: "approval needs every word, a new lock voids the test, and no word moves while it is open",
		edits: cut(energises, `if !q.Test() || !h.StoodClearFor(q) {`, `if !q.Test() {`)},
	{name: "test-energised-on-any-word", config: "test-box-withdrawn", why: "approval binds the word, and it does not move while the test is open",
		edits: cut(energises, `if !q.Test() || !h.StoodClearFor(q) {`, `if !q.Test() || !h.StoodClear() {`)},
}
