package yard

import (
	"bytes"
	"fmt"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

const (
	// MaxSigned bounds one signed record of a journal, in bytes: with its envelope
	// it always fits an entry of the ledger, so that it can't block the journal.
	MaxSigned = ledger.MaxEntryBytes - 4096
	// clockBehind is how far the yard's clock may lag the ledger's time before it
	// is in doubt, in ms (common practice, no source).
	clockBehind = 2 * 60 * 1000
)

// atPanel are the acts that count only as long as nothing happened since the
// panel was read: they are done again there, never sent later (decisions.md 3).
// FoundClosed and FoundStarted are not among them: they say that points are live,
// so a late one can only protect.
var atPanel = map[string]bool{"isolate": true, "closed": true, "energise": true, "box_add": true, "box_remove": true}

// Capture journals one signed record (protocol.md 3.4). now is the yard's clock,
// Unix ms; run is what Panel gave for the point of an act at a panel. Its error
// is *NotServing, *Refused, or ledger.ErrNewer; then nothing was written.
func (y *Yard) Capture(signed []byte, now int64, run string) (Effects, error) {
	if ok, why := y.Serving(); !ok {
		return Effects{}, &NotServing{why}
	}
	it, err := y.read(signed)
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
	if atPanel[it.kind] {
		if err := y.admitAtPanel(c, it, run); err != nil {
			return Effects{}, err
		}
	}
	env := y.envelope(now)
	var why string
	env.Grant, env.Promised, why = c.grantFor(it)
	if y.apart != "" && env.Grant == recordv1.Grant_GRANT_HELD_LOCALLY {
		env.Grant, env.Promised, why = recordv1.Grant_GRANT_UNCONFIRMED, nil, y.apart
	}
	env.Body = &recordv1.Envelope_Signed{Signed: signed}
	it, err = y.write(env)
	if err != nil {
		y.Broken(err.Error())
		return Effects{}, &NotServing{y.broken}
	}
	y.note(it)
	r := y.reply(it, false)
	r.Why = why
	return Effects{Append: []Record{it.Record}, Reply: &r}, nil
}

// read checks what no state is needed for, by the ledger's own rule
// (decisions.md 13), and which ledger the record is for.
func (y *Yard) read(signed []byte) (*item, error) {
	if len(signed) > MaxSigned {
		return nil, refuse("MALFORMED", "", fmt.Sprintf("the record has %d bytes, more than %d", len(signed), MaxSigned), "", "")
	}
	e, err := ledger.Decode(ledger.DirectEntry(signed))
	if err != nil {
		return nil, err
	}
	if f := e.Fault(); f != nil {
		return nil, &Refused{[]*recordv1.Finding{f}}
	}
	if e.Record() == nil {
		return nil, refuse("MALFORMED", "", "there is no record in it", "sign it again", "")
	}
	if bad := ledger.Check(e.Record()); len(bad) > 0 {
		return nil, &Refused{bad}
	}
	if !bytes.Equal(e.Record().GetLedger(), y.h.Ledger) {
		return nil, refuse("OTHER_LEDGER", "", "the record was signed for another ledger", "sign it again for this one", "")
	}
	it, err := newItem(Record{Envelope: &recordv1.Envelope{Body: &recordv1.Envelope_Signed{Signed: signed}}})
	if err != nil {
		return nil, refuse("MALFORMED", "", err.Error(), "sign it again", "")
	}
	return it, nil
}

// repeat finds the record that the same act, sent again, was written as: same
// ticket, same key, same signed bytes (decisions.md 10). The same ticket on other
// bytes is another act, and never gets the answer of the first.
func (y *Yard) repeat(it *item) *item {
	for _, seq := range y.tickets[it.ticket] {
		if old := y.at(seq); old != nil && bytes.Equal(old.body, it.body) {
			return old
		}
	}
	return nil
}

// admit refuses what can't be this yard's record. Who may do what is decided by
// the ledger; only acts that lift protection are refused here already, so that
// the person learns of it at once.
func (y *Yard) admit(c *scene, it *item) error {
	k, by := ledger.KindFor(it.rec), it.rec.GetSigner()
	if k == nil || k.Way != ledger.ThroughJournal {
		return refuse("WRONG_WAY", it.kind, "this kind of record goes to the ledger directly, not through a yard's journal", "send it as a direct entry", by)
	}
	key := c.signer(by, it.keys)
	if key == nil || c.v.People[by] == nil {
		return refuse("NOT_THE_SIGNER", by, fmt.Sprintf("the record says it is by %q, but no key of theirs signed it", by), "sign it with your own key", by)
	}
	if k.Class == ledger.Lifts && key.Revoked > 0 {
		return refuse("KEY_REVOKED", by, "the key that signed this was revoked", "sign with your present key", by)
	}
	if k.Class == ledger.Lifts && !c.may(it) {
		return refuse("NOT_PERMITTED", by, by+" may not do this", "ask somebody who may", "")
	}
	if who := c.owner(it); who != "" && who != by {
		code := "NOT_YOUR_LOCK"
		if it.signOn != "" {
			code = "NOT_YOUR_SIGN_ON"
		}
		return refuse(code, it.hold+it.signOn, "this is "+who+"'s, as this yard knows it: only "+who+" ends it", "ask them", who)
	}
	used := len(y.tickets[it.ticket]) > 0 || c.v.TicketUsed(it.keys[0], it.rec.GetTicket())
	if used && k.Class != ledger.Protects {
		return refuse("TICKET_REPEATED", by, "a record with this ticket was taken before, here or at another yard", "ask for its receipt; to do the act again, sign it again", by)
	}
	return c.admitTarget(it, k.Elsewhere == ledger.HomeOnly)
}

// owner is whose lock or sign-on a Release or SignOff would end, "" when this yard
// does not know. Whose it is never changes, but for a lock found hanging.
func (c *scene) owner(it *item) string {
	if h := c.v.Holds[it.hold]; h != nil && !h.Equipment { // the yard's own has no owner of its own
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

// admitTarget refuses an unknown target, and what belongs to another yard.
func (c *scene) admitTarget(it *item, homeOnly bool) error {
	home := ""
	if it.box != "" {
		b := c.v.Boxes[it.box]
		if b == nil {
			return refuse("UNKNOWN_POINT", it.box, "no such box is registered", "read the label again", it.rec.GetSigner())
		}
		home = b.Yard
	}
	if it.point != "" {
		p := c.v.Points[it.point]
		if p == nil {
			return refuse("UNKNOWN_POINT", it.point, "no such point is registered", "read the label at the panel again", it.rec.GetSigner())
		}
		if it.box == "" {
			home = p.Yard
		}
	}
	if it.narrows != "" {
		home = ledger.YardOf(it.narrows)
	}
	if homeOnly && home != c.yard {
		return refuse("NOT_HOME", it.point+it.box+it.narrows, "this is recorded only at its home yard "+home, "record it there, at the panel", it.rec.GetSigner())
	}
	return nil
}

// admitAtPanel refuses an act at a panel that was not done on what the panel
// shows now.
func (y *Yard) admitAtPanel(c *scene, it *item, run string) error {
	by := it.rec.GetSigner()
	if run != y.Run(it.point) {
		return refuse("OTHER_RUN", it.point, "the panel was read before this replica came into service, or the handle was moved since", "read the panel again and do it again there", by)
	}
	if (it.kind == "isolate" || it.kind == "closed") && it.moved != c.moved(it.point) {
		return refuse("STALE_READING", it.point, "the point was switched or found closed since the panel was read", "read the panel again and do it again there", by)
	}
	if it.kind == "energise" {
		if y.apart != "" {
			return refuse("DIVERGED", it.point, y.apart, "leave the point as it is", by)
		}
		return c.admitEnergise(it)
	}
	return nil
}

// admitEnergise is the yard's own look before it asks: the ledger decides, but a
// refusal at the panel costs nothing, and an Energise in flight blocks locks.
func (c *scene) admitEnergise(it *item) error {
	p, by := it.point, it.rec.GetSigner()
	var cs []*recordv1.Finding
	add := func(code, text, remedy string) {
		cs = append(cs, &recordv1.Finding{Code: code, Subject: p, Text: text, Remedy: remedy, Who: by, Clause: "1910.147(e)"})
	}
	q := c.v.Reqs[it.request]
	if q == nil || q.State != recordv1.RequestState_REQUEST_STATE_APPROVED {
		add("NOT_APPROVED", "request "+it.request+" is not approved, as this yard knows it", "wait until every yard concerned has confirmed, or request again")
	}
	if q != nil && !covers(q, p) {
		add("NOT_REQUESTED", "request "+it.request+" is not for "+p+", or it was energised already", "request it")
	}
	if c.pending(p) {
		add("PENDING", "energising "+p+" is asked for already", "wait for the ledger")
	}
	for _, s := range c.standing(p, q) {
		add("HOLD_STANDS", s, "they take it off, or sign off")
	}
	if len(cs) > 0 {
		return &Refused{cs}
	}
	return nil
}

func covers(q *ledger.Request, p string) bool {
	for _, e := range q.Energised {
		if e == p {
			return false
		}
	}
	for _, s := range q.Points {
		if s == p {
			return true
		}
	}
	return false
}

// grantFor works out what is promised for a record.
func (c *scene) grantFor(it *item) (recordv1.Grant, []string, string) {
	var g recordv1.Grant
	var points []string
	var why string
	switch it.kind {
	case "lock", "found_lock":
		var home string
		points, home, _ = c.promise(target(it))
		g, why = c.grant(home == c.yard, points)
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

// clockDoubt reports whether the clock went backwards since the last record or
// one that still waits, or lags the ledger's time. A clock that runs ahead of a
// ledger not heard of for long can't be told from a right one.
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

// write seals a record and counts it as journaled.
func (y *Yard) write(env *recordv1.Envelope) (*item, error) {
	raw, err := sealEnvelope(y.key, env)
	if err != nil {
		return nil, err
	}
	it, err := newItem(Record{Sealed: raw, Envelope: env, RaftIndex: y.applied})
	if err != nil {
		return nil, err
	}
	y.keep(it)
	return it, nil
}

// note takes what a new record means for the panel. An opening, a closing found
// or a closing done ends the go-ahead of its point, and that of any Energise of
// it still under way (decisions.md 4 and 6, C3).
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
