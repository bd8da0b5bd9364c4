package yard

import (
	"bytes"
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// MaxSigned bounds one signed record of a journal, in bytes. With its envelope,
	// such a record always fits an entry of the ledger. A larger one would block the
	// journal for ever.
	MaxSigned = ledger.MaxEntryBytes - 4096
	// clockBehind is how far the yard's clock may be behind the ledger's time before
	// it is in doubt, in ms (common practice, no source).
	clockBehind = 2 * 60 * 1000
)

// Capture journals one signed record as ledger.Verified read it (protocol.md 3.4). now
// is the yard's clock, Unix ms. For an act at a panel, run is what Panel gave for the
// point. Its error is *NotServing or *Refused, and then nothing was written.
func (y *Yard) Capture(e *ledger.Entry, now int64, run string) (Effects, error) {
	if ok, why := y.Serving(); !ok {
		return Effects{}, &NotServing{why}
	}
	it, err := y.arrived(e)
	if err != nil {
		return Effects{}, err
	}
	if old := y.repeat(it); old != nil {
		r := y.reply(old, true)
		return Effects{Reply: &r}, nil
	}
	c := y.scene()
	if err := y.admit(c, it); err != nil {
		return Effects{}, err
	}
	if ledger.KindFor(it.rec).Panel == ledger.AtPanel {
		if err := y.admitAtPanel(c, it, run); err != nil {
			return Effects{}, err
		}
	}
	env := y.envelope(now)
	var why *recordv1.Finding
	env.Grant, env.Promised, why = c.grantFor(it)
	if y.diverged != nil && env.Grant == recordv1.Grant_GRANT_HELD_LOCALLY {
		env.Grant, env.Promised, why = recordv1.Grant_GRANT_UNCONFIRMED, nil, y.diverged
	}
	env.Body = &recordv1.Envelope_Signed{Signed: e.Signed()}
	if err := y.write(env, it); err != nil {
		y.Broken(err.Error())
		return Effects{}, &NotServing{y.outOfService()}
	}
	y.note(it)
	r := y.reply(it, false)
	r.Because = why
	return Effects{Append: []Record{it.Record}, Reply: &r}, nil
}

// arrived takes a record that the server has decoded and checked (decisions.md 13). It
// makes the refusals that need no state.
func (y *Yard) arrived(e *ledger.Entry) (*item, error) {
	switch {
	case e.Fault() != nil:
		return nil, refuse(e.Fault())
	case e.Record() == nil || e.Envelope() != nil:
		return nil, refuse(ledger.Empty.About("", "part-record"))
	case len(e.Signed()) > MaxSigned:
		return nil, refuse(ledger.EntryTooLarge.About("", len(e.Signed()), MaxSigned))
	case len(e.Misshapen()) > 0:
		return nil, &Refused{e.Misshapen()}
	case !bytes.Equal(e.Record().GetLedger(), y.h.Ledger):
		return nil, refuse(ledger.OtherLedger.About(""))
	}
	it := &item{rec: e.Record(), keys: e.Keys(), body: e.Body()}
	it.name()
	return it, nil
}

// repeat finds the record that was written when this act was first sent. It has the
// same ticket, the same key and the same signed bytes (decisions.md 10). The same
// ticket on other bytes is another act. It never gets the first act's answer.
func (y *Yard) repeat(it *item) *item {
	for _, seq := range y.tickets[it.ticket] {
		if old := y.at(seq); old != nil && bytes.Equal(old.body, it.body) {
			return old
		}
	}
	return nil
}

// admit refuses what can't be a record of this yard. The ledger decides who may do
// what. Only acts that lift protection are refused here too, so that the person learns
// of it at once.
func (y *Yard) admit(c *scene, it *item) error {
	k, by := ledger.KindFor(it.rec), it.rec.GetSigner()
	if k.Way != ledger.ThroughJournal {
		return refuse(k.NotThisWay())
	}
	key := c.signer(by, it.keys)
	if key == nil || c.v.People[by] == nil {
		return refuse(ledger.NotTheSigner.About(by, by))
	}
	if k.Class == ledger.Lifts && key.Revoked > 0 {
		return refuse(ledger.KeyRevoked.About(by, by))
	}
	if k.Class == ledger.Lifts && !c.may(it) {
		return refuse(ledger.NotPermitted.About(by, by, k.May.Word(), k.Clause))
	}
	if who := c.owner(it); who != "" && who != by {
		if it.signOn != "" {
			return refuse(ledger.NotYourSignOn.About(it.signOn, it.signOn, who))
		}
		return refuse(ledger.NotYourLock.About(it.hold, who, c.hangsOn(it.hold), it.hold))
	}
	used := len(y.tickets[it.ticket]) > 0 || c.v.TicketUsed(it.keys[0], it.rec.GetTicket())
	if used && k.Class != ledger.Protects {
		t := it.rec.GetTicket()
		return refuse(ledger.TicketRepeated.About(by, by, t.GetDevice(), t.GetCounter()))
	}
	return c.admitTarget(it, k.Elsewhere == ledger.HomeOnly)
}

// owner is the person whose lock or sign-on a Release or SignOff would end, "" when
// this yard does not know. The owner never changes, except for a lock found hanging.
func (c *scene) owner(it *item) string {
	if h := c.v.Holds[it.hold]; h != nil && !h.Equipment { // the yard's own lock has no personal owner
		return h.Holder
	}
	if so := c.v.SignOns[it.signOn]; so != nil {
		return so.Person
	}
	for _, t := range c.tail {
		if (t.kind == "lock" && !t.rec.GetLock().GetEquipment() || t.kind == "sign_on") && (t.ref() == it.hold || t.ref() == it.signOn) {
			return t.rec.GetSigner()
		}
	}
	return ""
}

// hangsOn is the point or box of a lock, as this yard knows it.
func (c *scene) hangsOn(hold string) string {
	if h := c.v.Holds[hold]; h != nil {
		return h.Target()
	}
	for _, t := range c.tail {
		if t.ref() == hold {
			return t.point + t.box
		}
	}
	return ""
}

// admitTarget refuses an unknown target, and one that belongs to another yard.
func (c *scene) admitTarget(it *item, homeOnly bool) error {
	home := ""
	if it.box != "" {
		b := c.v.Boxes[it.box]
		if b == nil {
			return refuse(ledger.UnknownBox.About(it.box, it.box))
		}
		home = b.Yard
	}
	if it.point != "" {
		p := c.v.Points[it.point]
		if p == nil {
			return refuse(ledger.UnknownPoint.About(it.point, it.point))
		}
		if it.box == "" {
			home = p.Yard
		}
	}
	if it.narrows != "" {
		home = ledger.YardOf(it.narrows)
	}
	if homeOnly && home != c.yard {
		return refuse(notHome(it, home))
	}
	return nil
}

// NotHome are the refusals of acts that only the home yard records.
var NotHome = []code.Code{ledger.PointNotHome, ledger.BoxNotHome, ledger.ZoneNotHome}

func notHome(it *item, home string) *recordv1.Finding {
	switch {
	case it.narrows != "":
		return ledger.ZoneNotHome.About(it.narrows, it.narrows, home)
	case it.box != "":
		return ledger.BoxNotHome.About(it.box, it.box, home)
	}
	return ledger.PointNotHome.About(it.point, it.point, home)
}

// Conditions against an act at a panel.
var (
	// OtherRun: after the panel was read, this machine came into service again, or the
	// handle was moved.
	OtherRun = code.New("OTHER_RUN", code.Row{Args: "point", Who: "the-signer", Next: "yardhasp panel {point}"})
	// StaleReading: the point was switched, or seen closed, after the panel was read.
	StaleReading = code.New("STALE_READING", code.Row{Args: "point", Who: "the-signer", Next: "yardhasp panel {point}"})
	// Diverged: replicas hold different histories, so nobody can allow a start.
	Diverged = code.New("DIVERGED", code.Row{Args: "point because:why"})
)

// admitAtPanel refuses an act at a panel if the panel has changed since the person
// read it.
func (y *Yard) admitAtPanel(c *scene, it *item, run string) error {
	if run != y.Run(it.point) {
		return refuse(OtherRun.About(it.point, it.point))
	}
	if (it.kind == "isolate" || it.kind == "closed") && it.moved != c.moved(it.point) {
		return refuse(StaleReading.About(it.point, it.point))
	}
	if it.kind == "energise" {
		if y.diverged != nil {
			return refuse(Diverged.About(it.point, it.point, y.diverged))
		}
		return c.admitEnergise(it)
	}
	return nil
}

// admitEnergise makes the yard's own check before it asks the ledger. The ledger
// decides. But a refusal at the panel costs nothing, while an Energise under way keeps
// locks from being promised.
func (c *scene) admitEnergise(it *item) error {
	p, q := it.point, c.v.Reqs[it.request]
	var unmet []*recordv1.Finding
	switch {
	case q == nil:
		unmet = append(unmet, ledger.UnknownRequest.About(it.request, it.request))
	case q.State != recordv1.RequestState_REQUEST_STATE_APPROVED:
		unmet = append(unmet, notApproved(q))
	}
	if q != nil && !covers(q, p) {
		unmet = append(unmet, ledger.NotRequested.About(p, q.ID, p))
	}
	if c.pending(p) {
		unmet = append(unmet, EnergiseUnderWay.About(p, p))
	}
	unmet = append(unmet, c.standing(p, q)...)
	if len(unmet) > 0 {
		return &Refused{unmet}
	}
	return nil
}

func covers(q *ledger.Request, p string) bool {
	return slices.Contains(q.Points, p) && !slices.Contains(q.Energised, p)
}

// grantFor works out what is promised for a record.
func (c *scene) grantFor(it *item) (recordv1.Grant, []string, *recordv1.Finding) {
	var g recordv1.Grant
	var points []string
	var why *recordv1.Finding
	switch it.kind {
	case "lock", "found_lock":
		var home string
		points, home, _ = c.promise(target(it))
		g, why = c.grant(home, points)
	case "sign_on":
		g, points, why = c.grantSignOn(it.job)
	default:
		g = recordv1.Grant_GRANT_NONE
	}
	if g != recordv1.Grant_GRANT_HELD_LOCALLY {
		points = nil
	}
	return g, points, why
}

// envelope begins the next record of the journal.
func (y *Yard) envelope(now int64) *recordv1.Envelope {
	seq, hash := y.last()
	env := &recordv1.Envelope{Ledger: y.h.Ledger, Yard: y.h.Yard, Epoch: y.h.Epoch, Seq: seq + 1,
		BasedOn: y.view.Size(), WrittenUnixMs: now, ClockDoubt: y.clockDoubt(now)}
	if seq > 0 {
		env.Previous = hash[:]
	}
	return env
}

// clockDoubt reports whether the clock is in doubt: it went backwards since the last
// record or since a record that still waits, or it is behind the ledger's time. A yard
// that has not heard of the ledger for long can't tell whether its clock runs ahead.
func (y *Yard) clockDoubt(now int64) bool {
	var latest int64
	if n := len(y.journal); n > 0 {
		latest = y.journal[n-1].Envelope.GetWrittenUnixMs()
	}
	for _, it := range y.scene().tail {
		latest = max(latest, it.Envelope.GetWrittenUnixMs())
	}
	return now < latest || now < y.view.Time-clockBehind
}

// write seals an envelope around a record or a fence. From then on it counts as
// journaled.
func (y *Yard) write(env *recordv1.Envelope, it *item) error {
	sealed, hash, err := sealEnvelope(y.key, env)
	if err != nil {
		return err
	}
	it.placed(Record{Sealed: sealed, Envelope: env, RaftIndex: y.applied}, hash)
	y.keep(it)
	return nil
}

// note records what a new record means for the panel. An opening, a closing and a
// point found closed each end the go-ahead of the point. They also end the go-ahead of
// an Energise that is still under way (decisions.md 4 and 6, C3).
func (y *Yard) note(it *item) {
	for _, p := range it.started {
		if it.closes(p) {
			delete(y.asked, p)
			y.handle[p] = it.seq
		}
	}
	switch it.kind {
	case "energise":
		y.asked[it.point] = ask{Request: it.request, At: it.at}
	case "isolate":
		delete(y.asked, it.point)
		y.handle[it.point] = it.seq
	case "found_closed":
		delete(y.asked, it.point)
		y.handle[it.point] = it.seq
	case "closed":
		delete(y.asked, it.point)
		y.handle[it.point] = it.seq
	}
}
