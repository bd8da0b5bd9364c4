package yard

import (
	"maps"
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// scene is all that a yard knows: the applied state, and the records of its own
// journal that this state has not taken yet, in order.
type scene struct {
	v    *ledger.State
	yard string
	tail []*item
}

// live is ELIVE of protocol.md 3.4 and decisions.md 4: the last own undrained
// Isolate that counts, or Closed, FoundClosed or FoundStarted, decides; without one,
// the view. A point that nobody registered is live.
func (c *scene) live(p string) bool {
	pt := c.v.Points[p]
	if pt == nil {
		return true
	}
	live, moved := pt.Live, pt.Moved
	if pt.Yard != c.yard {
		return live
	}
	for _, it := range c.tail {
		switch {
		case it.closes(p):
			moved = it.at
			live = true
		case it.point != p:
		case it.kind == "closed": // after an opening it was done with no go-ahead
			live = true
		case it.kind == "energise":
			moved = it.at
		case it.kind == "isolate":
			if it.moved == moved && c.counts(it) {
				live = false
			}
		}
	}
	return live
}

// moved is what an Isolate or Closed of p must sign: the place of the last Energise,
// FoundClosed or FoundStarted of p. Records that the ledger has not taken yet count
// too (decisions.md 3).
func (c *scene) moved(p string) ledger.Moved {
	var m ledger.Moved
	if pt := c.v.Points[p]; pt != nil {
		m = pt.Moved
	}
	for _, it := range c.tail {
		if it.kind == "energise" && it.point == p || it.closes(p) {
			m = it.at
		}
	}
	return m
}

// pending reports whether an Energise of p by this yard still waits for the ledger.
func (c *scene) pending(p string) bool {
	for _, it := range c.tail {
		if it.kind == "energise" && it.point == p {
			return true
		}
	}
	return false
}

// fenced names an open request that covers p, "" when there is none. Only the end of
// the request in the applied state lifts the fence. Neither a clock nor this yard's
// own attestation does (protocol.md C14).
func (c *scene) fenced(p string) string {
	for _, id := range slices.Sorted(maps.Keys(c.v.Reqs)) {
		if q := c.v.Reqs[id]; q.Open() && slices.Contains(q.Points, p) {
			return id
		}
	}
	return ""
}

// promise is PROMISE of protocol.md 3.4: the points that a lock on the target may be
// promised. A key taken out of a box here counts at once, for then the box holds less.
// A key put in counts only once the ledger has it (C1).
func (c *scene) promise(t *recordv1.Target) (points []string, home string, known bool) {
	points, home, known = c.v.TargetPoints(t)
	if t.GetBox() == "" || home != c.yard {
		return points, home, known
	}
	for _, it := range c.tail {
		if it.kind == "box_remove" && it.box == t.GetBox() {
			points = slices.DeleteFunc(points, func(p string) bool { return p == it.point })
		}
	}
	return points, home, known
}

// What stands against a promise.
var (
	PointLive = code.New("POINT_LIVE", code.Row{Args: "point"})
	// OfOtherYard: only the home yard of the target can promise it.
	OfOtherYard   = code.New("OF_OTHER_YARD", code.Row{Args: "yard"})
	CoversNothing = code.New("COVERS_NOTHING", code.Row{})
	// EnergiseUnderWay: somebody asked to close the point, and the ledger has not
	// answered.
	EnergiseUnderWay = code.New("ENERGISE_UNDER_WAY", code.Row{Args: "point", Clause: "1910.147(e)"})
	// ZoneLive: energy reaches the zone on a way that no open and locked point stops.
	ZoneLive = code.New("ZONE_LIVE", code.Row{Args: "zone"})
	// NarrowingUnderWay: this yard wrote down that fewer points reach the zone. The
	// ledger does not have that yet.
	NarrowingUnderWay = code.New("NARROWING_UNDER_WAY", code.Row{Args: "zone"})
	// LiveByOlderDrawing: only by an older drawing does the point reach the zone.
	LiveByOlderDrawing = code.New("LIVE_BY_OLDER_DRAWING", code.Row{Args: "point zone"})
)

// grant is decisions.md 5: HELD_LOCALLY, or else the first that applies of LIVE,
// UNCONFIRMED and CONTESTED, with the reason. Where no request is open, no Energise of
// this yard can be pending. The check for it stays as a second defence.
func (c *scene) grant(home string, points []string) (recordv1.Grant, *recordv1.Finding) {
	for _, p := range points {
		if c.live(p) {
			return recordv1.Grant_GRANT_LIVE, PointLive.About(p, p)
		}
	}
	if home != c.yard {
		return recordv1.Grant_GRANT_UNCONFIRMED, OfOtherYard.About(home, home)
	}
	if len(points) == 0 {
		return recordv1.Grant_GRANT_CONTESTED, CoversNothing.About("")
	}
	for _, p := range points {
		if c.pending(p) {
			return recordv1.Grant_GRANT_CONTESTED, EnergiseUnderWay.About(p, p)
		}
		if id := c.fenced(p); id != "" {
			return recordv1.Grant_GRANT_CONTESTED, ledger.RequestOpen.About(p, p, id, c.v.Reqs[id].By.By)
		}
	}
	return recordv1.Grant_GRANT_HELD_LOCALLY, nil
}

// grantSignOn is decisions.md 9 and 32. The zone's own yard decides by the rule of a
// lock. The points are those that energy meets on its way into any zone of the place,
// also the points that stop it. A job that the ledger does not have yet can't carry a
// promise: the ledger may still refuse its opening, and then it would not know the
// zone.
func (c *scene) grantSignOn(job string) (recordv1.Grant, []string, *recordv1.Finding) {
	j := c.v.Jobs[job]
	if j == nil || j.Closed.Set() {
		return recordv1.Grant_GRANT_UNCONFIRMED, nil, ledger.UnknownJob.About(job, job)
	}
	home := ledger.YardOf(j.Zone)
	points, live, err := c.v.ReachNow(j.Zone, c.barrier)
	switch {
	case err != nil && home != c.yard:
		return recordv1.Grant_GRANT_UNCONFIRMED, nil, ledger.ReachUnknown.About(j.Zone, j.Zone)
	case err != nil:
		return recordv1.Grant_GRANT_CONTESTED, nil, ledger.ReachUnknown.About(j.Zone, j.Zone)
	case live:
		return recordv1.Grant_GRANT_LIVE, nil, ZoneLive.About(j.Zone, j.Zone)
	case c.narrowing(j.Zone):
		return recordv1.Grant_GRANT_CONTESTED, nil, NarrowingUnderWay.About(j.Zone, j.Zone)
	}
	// A new revision of the drawing never narrows a zone by itself.
	older := c.v.OlderPoints(j.Zone)
	points = append(points, older...)
	slices.Sort(points)
	points = slices.Compact(points)
	g, why := c.grant(home, points)
	if i := slices.IndexFunc(older, c.live); g == recordv1.Grant_GRANT_LIVE && i >= 0 {
		why = LiveByOlderDrawing.About(older[i], older[i], j.Zone)
	}
	return g, points, why
}

// narrowing reports whether a record of this yard that narrows the place waits for the
// ledger. Until the ledger has it, nobody knows which yards must agree to a start
// there (decisions.md 9).
func (c *scene) narrowing(zone string) bool {
	names := c.v.PlaceOf(zone)
	return slices.ContainsFunc(c.tail, func(it *item) bool { return slices.Contains(names, it.narrows) })
}

// barrier reports whether p stops energy, as this yard knows it: p is open, and a lock
// holds it whose owner has neither signed it off here nor stood clear of it. The
// question whether p is live is a second defence: energy would still meet a live point
// that was taken for a barrier, and find it live.
func (c *scene) barrier(p string) bool {
	if c.live(p) {
		return false
	}
	off := map[string]bool{}
	for _, it := range c.tail {
		if it.kind == "release" {
			off[it.hold] = true
		}
	}
	for _, h := range c.v.Guarding(p) {
		if !off[h.Ref] {
			return true
		}
	}
	for _, it := range c.tail {
		if l := it.rec.GetLock(); l.GetEquipment() || l.GetTag().GetOnly() {
			continue // nobody's own lock, or none at all; what the ledger makes of it is in the view
		}
		if (it.kind == "lock" || it.kind == "found_lock") && !off[it.ref()] {
			points, _, _ := c.promise(target(it))
			if slices.Contains(points, p) {
				return true
			}
		}
	}
	return false
}

func target(it *item) *recordv1.Target {
	if it.rec.GetFoundLock() != nil {
		return it.rec.GetFoundLock().GetTarget()
	}
	return it.rec.GetLock().GetTarget()
}

// Conditions against closing a point that only this yard knows.
var (
	// LockWrittenHere and FoundLockWrittenHere: the lock is not in the ledger yet.
	LockWrittenHere      = code.New("LOCK_WRITTEN_HERE", code.Row{Args: "holder target record", Clause: "1910.147(e)(3)", Who: "{holder}", Next: "yardhasp release {record}"})
	FoundLockWrittenHere = code.New("FOUND_LOCK_WRITTEN_HERE", code.Row{Args: "person target record", Clause: "1910.147(e)(3)", Who: "its-owner"})
	SignOnWrittenHere    = code.New("SIGN_ON_WRITTEN_HERE", code.Row{Args: "person job record", Clause: "1910.147(e)(2)(i)", Who: "{person}", Next: "yardhasp sign-off {record}"})
	// JobLockWrittenHere: the lock is for work at a place that energy may reach once
	// the point is closed.
	JobLockWrittenHere = code.New("JOB_LOCK_WRITTEN_HERE", code.Row{Args: "person job record", Clause: "1910.147(e)(2)(i)", Who: "{person}", Next: "yardhasp release {record}"})
	ChokeWrittenHere   = code.New("CHOKE_WRITTEN_HERE", code.Row{Args: "where record", Clause: "1910.272(q)(1)", Who: "authorised-supervisor", Next: "yardhasp clear-choke {record} --dug-out"})
)

// ownLock describes a lock or found lock of this yard's journal that covers p and that
// the ledger has not taken, nil when there is none. A key put into its box here
// counts.
func (c *scene) ownLock(p string) *recordv1.Finding {
	for _, it := range c.tail {
		if it.kind != "lock" && it.kind != "found_lock" {
			continue
		}
		covers := it.point == p
		if b := c.v.Boxes[it.box]; b != nil {
			_, in := b.Points[p]
			covers = covers || in || c.putIn(it.box, p)
		}
		if covers {
			says := LockWrittenHere
			if it.kind == "found_lock" {
				says = FoundLockWrittenHere
			}
			return says.About(p, it.rec.GetSigner(), it.point+it.box, it.ref())
		}
	}
	return nil
}

func (c *scene) putIn(box, p string) bool {
	return slices.ContainsFunc(c.tail, func(it *item) bool { return it.kind == "box_add" && it.box == box && it.point == p })
}

// standing lists what this yard knows against closing p: active holds, locks that the
// ledger has not taken yet, and the people who may be hurt. For the people it asks the
// ledger's own question (decisions.md 6, 32). A release or sign-off written here
// counts only once the ledger has it. For a test q, a hold does not count if its
// holder stood clear for that test.
func (c *scene) standing(p string, q *ledger.Request) []*recordv1.Finding {
	var out []*recordv1.Finding
	for _, h := range c.v.HoldsOn(p) {
		if h.StoodClearFor(q) {
			continue
		}
		out = append(out, h.Stands(p))
	}
	if l := c.ownLock(p); l != nil {
		out = append(out, l)
	}
	for _, e := range c.v.Exposed([]string{p}, q) {
		if h := c.v.Holds[e.Ref]; e.By == ledger.ByLock && slices.Contains(c.v.Covers(h), p) {
			continue // said above
		}
		out = append(out, e.Finding())
	}
	for _, it := range c.tail {
		if it.kind == "sign_on" && (slices.Contains(it.Envelope.GetPromised(), p) || c.reaches(p, it.job, true)) {
			out = append(out, SignOnWrittenHere.About(p, it.rec.GetSigner(), it.job, it.ref()))
		}
		if job := lockJob(it); job != "" && len(c.zones(job)) > 0 && c.reaches(p, job, false) {
			out = append(out, JobLockWrittenHere.About(p, it.rec.GetSigner(), job, it.ref()))
		}
	}
	return out
}

// lockJob is the job that a lock or found lock of this journal names, "" for none.
func lockJob(it *item) string {
	if l := it.rec.GetFoundLock(); l != nil {
		return l.GetJob()
	}
	return it.rec.GetLock().GetJob()
}

// chokes lists the choked legs that closing p could turn. Nobody may jog a choked leg,
// 1910.272(q)(1). It looks at the view and at the records that the ledger has not
// taken. A leg that was cleared here still counts as choked until the ledger has the
// clearing.
func (c *scene) chokes(p string) []*recordv1.Finding {
	var out []*recordv1.Finding
	for _, ref := range slices.Sorted(maps.Keys(c.v.Chokes)) {
		if k := c.v.Chokes[ref]; c.v.Turns(k, []string{p}) {
			out = append(out, k.Finding())
		}
	}
	for _, it := range c.tail {
		if w := it.rec.GetFoundChoked().GetWhere(); w != "" && c.v.ChokeReached(w, []string{p}) {
			out = append(out, ChokeWrittenHere.About(w, w, it.ref()))
		}
	}
	return out
}

// reaches reports whether closing p may let energy reach the place of a job. inside is
// true for people who may be inside, false for a lock alone. An unknown job may be
// anywhere.
func (c *scene) reaches(p, job string, inside bool) bool {
	zones := c.zones(job)
	return len(zones) == 0 || slices.ContainsFunc(zones, func(z string) bool { return c.v.CouldReach(z, []string{p}, inside) })
}

// zones lists the zones that a job may mean: its zone in the ledger, and the zone in
// an opening of this journal that the ledger has not taken.
func (c *scene) zones(job string) []string {
	var out []string
	if j := c.v.Jobs[job]; j != nil {
		out = append(out, j.Zone)
	}
	for _, it := range c.tail {
		if it.kind == "open_job" && it.job == job {
			out = append(out, it.rec.GetOpenJob().GetZone())
		}
	}
	return out
}

// unfenced lists the requests that wait for this yard's attestation: there is none in
// view, and none in the records that the ledger has not taken (protocol.md 3.4). It
// looks at the state, not at the entry that changed the state (C16): a restored
// snapshot shows no entry.
func (c *scene) unfenced() []string {
	var out []string
	for _, id := range slices.Sorted(maps.Keys(c.v.Reqs)) {
		q := c.v.Reqs[id]
		if q.State != recordv1.RequestState_REQUEST_STATE_AWAITING {
			continue
		}
		if !slices.Contains(q.Involved, c.yard) {
			continue
		}
		if slices.Contains(q.Attested, c.yard) {
			continue
		}
		if slices.ContainsFunc(c.tail, func(it *item) bool { return it.kind == "fence" && it.request == id }) {
			continue
		}
		out = append(out, id)
	}
	return out
}

// counts reports whether an Isolate that the ledger has not taken yet will take
// effect, as far as this yard knows. Its signer may open points and has a live key,
// and the ticket is new.
func (c *scene) counts(it *item) bool {
	k := c.signer(it.rec.GetSigner(), it.keys)
	return k != nil && k.Revoked == 0 && c.may(it) && !c.v.TicketUsed(it.keys[0], it.rec.GetTicket())
}

// signer finds the registered key of a person among the keys that signed. If there are
// several, it is the last one, as in the ledger.
func (c *scene) signer(person string, keys [][]byte) *ledger.Key {
	var found *ledger.Key
	for _, k := range keys {
		if r := c.v.KeyOf(k); r != nil && r.Person == person && person != "" {
			found = r
		}
	}
	return found
}

// may reports whether the signer's role and qualification allow the act.
func (c *scene) may(it *item) bool {
	k := ledger.KindFor(it.rec)
	return k != nil && k.May.Allows(c.v.People[it.rec.GetSigner()])
}
