package yard

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Yard is the part of a yard's replica that promises: its journal, the state it was
// last shown, and the go-aheads of this run. The package comment says what its owner
// must do.
type Yard struct {
	h   Header
	key ed25519.PrivateKey
	run string

	journal []*item             // gapless from h.Compacted+1
	tickets map[string][]uint64 // ticket -> records of the journal that carry it
	durable uint64              // the seq up to which the owner has reported the records as written

	view    *ledger.State
	size    uint64 // ledger size of the view when it was shown
	applied uint64 // raft index of the view

	suspended *recordv1.Finding // why it writes nothing for now, nil when it may write
	broken    string            // what stopped the journal until a restart, "" when nothing did
	inside    bool              // SERVING, when last looked
	diverged  *recordv1.Finding // replicas hold different histories, so nothing may rest on the state; nil when they agree
	servings  uint64            // how often serving began

	// These are forgotten when the yard stops serving (decisions.md 3 and 6).
	asked  map[string]ask    // point -> the Energise that may give a go-ahead
	handle map[string]uint64 // point -> last record of this yard that says its handle was moved
}

// ask is an Energise of this yard.
type ask struct {
	Request string
	At      ledger.Moved
}

// Effects is what a call asks the owner to do.
type Effects struct {
	// Append must be durable, in this order, before anything else happens.
	Append []Record
	// Reply may be sent once everything up to Reply.Seq is durable; nil for none.
	Reply *Reply
}

// Reply is the answer to a captured record.
type Reply struct {
	Ref string
	Seq uint64
	// Grant and Promised are as they were recorded. Once Drained is true, the ledger's
	// own word about the record is newer.
	Grant    recordv1.Grant
	Promised []string
	// Because says what stands against a promise, nil when it was given.
	Because *recordv1.Finding
	// Repeated: the record was written before, and this call wrote nothing.
	Repeated bool
	// Drained: the shown state has taken the record.
	Drained bool
}

// New takes a journal as File gave it. run names this run of the replica, and no
// earlier run may have had the same name. It fails unless all records belong to this
// journal, without a gap, and are sealed by the key.
func New(h Header, key ed25519.PrivateKey, journal []Record, run string) (*Yard, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("the replica key of %s is no Ed25519 key", h.Yard)
	}
	public := key.Public().(ed25519.PublicKey)
	if got := seal.Fingerprint(public); got != h.Incarnation {
		return nil, fmt.Errorf("the journal of %s was begun with the key %s, this replica has %s: recover the yard with a walkdown if its machine was replaced", h.Yard, h.Incarnation, got)
	}
	y := &Yard{h: h, key: key, run: run, tickets: map[string][]uint64{}, asked: map[string]ask{}, handle: map[string]uint64{}}
	for _, r := range journal {
		seq, hash := y.last()
		if r.Envelope == nil {
			return nil, fmt.Errorf("record %d of the journal of %s was not read", seq+1, h.Yard)
		}
		if why := h.follows(&r, seq, hash); why != "" {
			return nil, fmt.Errorf("record %d of the journal of %s: %s", seq+1, h.Yard, why)
		}
		if !verifySealed(public, r.Sealed) {
			return nil, fmt.Errorf("record %d of the journal of %s is not sealed by this replica", seq+1, h.Yard)
		}
		it, err := newItem(r)
		if err != nil {
			return nil, fmt.Errorf("record %d of the journal of %s: %w", seq+1, h.Yard, err)
		}
		y.keep(it)
	}
	y.durable, _ = y.last()
	return y, nil
}

func (y *Yard) keep(it *item) {
	y.journal = append(y.journal, it)
	if it.ticket != "" {
		y.tickets[it.ticket] = append(y.tickets[it.ticket], it.seq)
	}
}

// last is the seq and the hash of the journal's last record.
func (y *Yard) last() (uint64, [32]byte) {
	if n := len(y.journal); n > 0 {
		return y.journal[n-1].seq, y.journal[n-1].hash
	}
	return y.h.Compacted, y.h.Hash
}

// floor is the raft index that the journal rests on.
func (y *Yard) floor() uint64 {
	var records []Record
	if n := len(y.journal); n > 0 {
		records = []Record{y.journal[n-1].Record}
	}
	return y.h.Floor(records)
}

// at returns the record with a seq, nil when the journal does not have it.
func (y *Yard) at(seq uint64) *item {
	if seq <= y.h.Compacted || seq > y.h.Compacted+uint64(len(y.journal)) {
		return nil
	}
	return y.journal[seq-y.h.Compacted-1]
}

// drained is the seq of the last record that the view has taken.
func (y *Yard) drained() uint64 {
	if y.view == nil || y.view.Yards[y.h.Yard] == nil {
		return 0
	}
	return y.view.Yards[y.h.Yard].Drained
}

// scene is the view and the records that it has not taken.
func (y *Yard) scene() *scene {
	n := uint64(len(y.journal))
	taken := min(max(y.drained(), y.h.Compacted)-y.h.Compacted, n)
	return &scene{v: y.view, yard: y.h.Yard, tail: y.journal[taken:]}
}

// View shows the Yard the applied state and its raft index. now is the yard's clock,
// Unix ms. Only what the state says counts, not how it came about: a restored snapshot
// has the same effect as the entries that it replaces. View returns the fences to
// journal.
func (y *Yard) View(s *ledger.State, raftApplied uint64, now int64) Effects {
	back := raftApplied < y.applied || s.Size() < y.size
	y.view, y.size, y.applied = s, s.Size(), raftApplied
	ok, _ := y.Serving()
	if back || !ok {
		y.leave()
	}
	if !ok {
		return Effects{}
	}
	y.inside = true
	if y.diverged != nil {
		return Effects{} // otherwise this yard's word would rest on a history in doubt
	}
	var out Effects
	for _, id := range y.scene().unfenced() {
		env := y.envelope(now)
		env.Grant = recordv1.Grant_GRANT_NONE
		env.Body = &recordv1.Envelope_Fence{Fence: &recordv1.Fence{Request: id}}
		it := &item{kind: "fence", request: id}
		if err := y.write(env, it); err != nil {
			y.Broken(err.Error())
			return out
		}
		out.Append = append(out.Append, it.Record)
	}
	return out
}

// leave stops serving. Whatever was handed out while the yard served counts no more.
func (y *Yard) leave() {
	if !y.inside {
		return
	}
	y.inside = false
	y.servings++
	clear(y.asked)
	clear(y.handle)
}

// Broken tells the Yard that a record could not be made durable. why is the system's
// error. The Yard does not serve again until a restart.
func (y *Yard) Broken(why string) {
	if y.broken == "" {
		y.broken = why
	}
	y.leave()
}

// Diverged tells the Yard that replicas hold different histories. Until a restart it
// writes down facts as before. It gives no fence, no promise and no go-ahead, and
// takes no Energise. A nil because changes nothing.
func (y *Yard) Diverged(because *recordv1.Finding) {
	if because == nil {
		return
	}
	if y.diverged == nil {
		y.leave()
	}
	y.diverged = because
}

// Appended tells the Yard that its records up to seq are durable.
func (y *Yard) Appended(seq uint64) {
	last, _ := y.last()
	y.durable = max(y.durable, min(seq, last))
}

// Reasons why a yard's machine is out of service.
var (
	JournalNotWritable = code.New("JOURNAL_NOT_WRITABLE", code.Row{Args: "yard error:text"})
	NoStateYet         = code.New("NO_STATE_YET", code.Row{Args: "yard"})
	StateNotShown      = code.New("STATE_NOT_SHOWN", code.Row{Args: "yard"})
	// OwnJournalElsewhere: the journal on this disk belongs to another ledger.
	OwnJournalElsewhere = code.New("OWN_JOURNAL_OF_OTHER_LEDGER", code.Row{Args: "yard"})
	// YardNotKnownYet: the ledger on this machine does not have the yard yet.
	YardNotKnownYet = code.New("YARD_NOT_KNOWN_YET", code.Row{Args: "yard"})
	// OtherMachine: in the ledger, another machine is this yard's.
	OtherMachine = code.New("OTHER_MACHINE", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	OtherEpoch   = code.New("JOURNAL_OF_OTHER_EPOCH", code.Row{Args: "yard epoch:number now:number"})
	// NotCaughtUp: the machine has not applied the state that its journal rests on.
	NotCaughtUp = code.New("NOT_CAUGHT_UP", code.Row{Args: "yard"})
	// StateTooOld: the state is older than records that the journal has dropped.
	StateTooOld = code.New("STATE_TOO_OLD", code.Row{Args: "yard"})
	// JournalShort: the ledger has records of this yard that this disk lacks.
	JournalShort   = code.New("JOURNAL_SHORT", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	JournalDiffers = code.New("JOURNAL_DIFFERS", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
)

// recoverCommand makes a new start for a yard, after a walkdown.
const recoverCommand = "yardhasp recover-yard {yard} --second MANAGER --key KEY --address HOST:PORT --old-machine-off"

// Serving reports whether the yard may write and promise. If not, it says why
// (protocol.md 3.4, decisions.md 7).
func (y *Yard) Serving() (bool, *recordv1.Finding) {
	why := y.outOfService()
	return why == nil, why
}

func (y *Yard) outOfService() *recordv1.Finding {
	about := func(c code.Code, more ...any) *recordv1.Finding {
		return c.About(y.h.Yard, append([]any{y.h.Yard}, more...)...)
	}
	if y.broken != "" {
		return about(JournalNotWritable, y.broken)
	}
	if y.suspended != nil {
		return y.suspended
	}
	if y.view == nil {
		return about(NoStateYet)
	}
	if y.view.Size() != y.size {
		return about(StateNotShown)
	}
	if !bytes.Equal(y.view.LedgerID(), y.h.Ledger) {
		return about(OwnJournalElsewhere)
	}
	me := y.view.Yards[y.h.Yard]
	if me == nil {
		return about(YardNotKnownYet)
	}
	if !bytes.Equal(me.Key, y.key.Public().(ed25519.PublicKey)) {
		return about(OtherMachine)
	}
	if me.Epoch != y.h.Epoch {
		return about(OtherEpoch, y.h.Epoch, me.Epoch)
	}
	if me.Cloned {
		return about(ledger.YardStopped)
	}
	if y.applied < y.floor() {
		return about(NotCaughtUp)
	}
	last, _ := y.last()
	if me.Drained > last {
		return about(JournalShort)
	}
	if me.Drained < y.h.Compacted {
		return about(StateTooOld)
	}
	if !y.agrees(me) {
		return about(JournalDiffers)
	}
	return nil
}

// agrees reports whether the last record that the ledger took from this yard is also
// in this journal.
func (y *Yard) agrees(me *ledger.Yard) bool {
	if me.Drained == 0 || len(me.Hashes) == 0 {
		return true
	}
	want := y.h.Hash
	if it := y.at(me.Drained); it != nil {
		want = it.hash
	}
	return me.Hashes[len(me.Hashes)-1] == hex.EncodeToString(want[:])
}

// Pending lists, in order, the durable records that the shown state has not taken. The
// owner forwards them until the state has them. It is empty when the ledger knows
// another machine or another epoch for this yard.
func (y *Yard) Pending() []Record {
	if y.view == nil {
		return nil
	}
	me := y.view.Yards[y.h.Yard]
	if me == nil || me.Epoch != y.h.Epoch || !bytes.Equal(me.Key, y.key.Public().(ed25519.PublicKey)) {
		return nil
	}
	var out []Record
	for _, it := range y.scene().tail {
		if it.seq <= y.durable {
			out = append(out, it.Record)
		}
	}
	return out
}

// UnknownRecord: this yard's journal never had the record, or has dropped it.
var UnknownRecord = code.New("UNKNOWN_RECORD", code.Row{Args: "record", Next: "yardhasp history", Answer: code.Unknown})

// Receipt is the recorded answer to the record with a seq. An answer whose record is
// not durable may not be sent. While the yard is not serving, Receipt gives none: what
// was promised may no longer hold.
func (y *Yard) Receipt(seq uint64) (r Reply, durable bool, err error) {
	if ok, why := y.Serving(); !ok {
		return Reply{}, false, &NotServing{why}
	}
	it := y.at(seq)
	if it == nil {
		ref := ledger.Ref(y.h.Yard, y.h.Epoch, seq)
		return Reply{}, false, refuse(UnknownRecord.About(ref, ref))
	}
	return y.reply(it, true), seq <= y.durable, nil
}

// About names the act of a record of the journal. For a lock, target is what the lock
// hangs on. Both are "" when the journal does not have the record.
func (y *Yard) About(seq uint64) (kind, target string) {
	it := y.at(seq)
	if it == nil {
		return "", ""
	}
	return it.kind, it.point + it.box
}

// EquipmentLockHere: the lock that was written down is a yard's equipment lock.
var EquipmentLockHere = code.New("EQUIPMENT_LOCK_HERE", code.Row{Args: "target", Clause: "1910.147(d)(4)(i)"})

// Caveat warns when a lock of the journal is not a personal lock and must not be taken
// for one. It is nil for a personal lock and for any other record.
func (y *Yard) Caveat(seq uint64) *recordv1.Finding {
	it := y.at(seq)
	switch {
	case it == nil:
		return nil
	case it.rec.GetLock().GetEquipment():
		return EquipmentLockHere.About(it.point+it.box, it.point+it.box)
	case it.rec.GetLock().GetTag().GetOnly():
		return ledger.TagOnly.About(it.point+it.box, it.point+it.box)
	}
	return nil
}

// FindTicket finds the latest record of the journal that a key signed with this
// ticket.
func (y *Yard) FindTicket(key []byte, t *recordv1.Ticket) (seq uint64, found bool) {
	seqs := y.tickets[ticketOf(key, &recordv1.Record{Ticket: t})]
	if len(seqs) == 0 {
		return 0, false
	}
	return seqs[len(seqs)-1], true
}

func (y *Yard) reply(it *item, repeated bool) Reply {
	return Reply{Ref: it.ref(), Seq: it.seq, Grant: it.Envelope.GetGrant(), Promised: slices.Clone(it.Envelope.GetPromised()),
		Repeated: repeated, Drained: it.seq <= y.drained()}
}

// Clone returns an independent copy. Both share the shown state.
func (y *Yard) Clone() *Yard {
	c := *y
	c.journal = slices.Clone(y.journal)
	c.tickets = make(map[string][]uint64, len(y.tickets))
	for t, seqs := range y.tickets {
		c.tickets[t] = slices.Clone(seqs)
	}
	c.asked, c.handle = maps.Clone(y.asked), maps.Clone(y.handle)
	return &c
}

// AppendCanonical appends everything that decides what the Yard does next. Two Yards
// with the same bytes behave the same.
func (y *Yard) AppendCanonical(b []byte) []byte {
	b = fmt.Appendf(b, "%x %s %d %s %d %x %d\n", y.h.Ledger, y.h.Yard, y.h.Epoch, y.h.Incarnation, y.h.Compacted, y.h.Hash, y.h.RaftIndex)
	b = fmt.Appendf(b, "%q %d %d %d %d %q %v %q\n", y.run, y.servings, y.durable, y.size, y.applied, y.broken, y.inside, y.diverged.GetCode())
	if y.suspended != nil {
		b = fmt.Appendf(b, "suspended %q\n", y.suspended.GetCode())
	}
	for _, it := range y.journal {
		b = fmt.Appendf(b, "%d %x\n", it.RaftIndex, it.hash)
	}
	for _, p := range slices.Sorted(maps.Keys(y.asked)) {
		b = fmt.Appendf(b, "asked %s %v\n", p, y.asked[p])
	}
	for _, p := range slices.Sorted(maps.Keys(y.handle)) {
		b = fmt.Appendf(b, "handle %s %d\n", p, y.handle[p])
	}
	if y.view != nil {
		b = y.view.AppendCanonical(b)
	}
	return b
}
