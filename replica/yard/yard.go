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

// Yard is one yard's replica as far as promises go: its journal, the state it
// was last shown, and the go-aheads of this run. See the package comment for
// what its owner must do.
type Yard struct {
	h   Header
	key ed25519.PrivateKey
	run string

	journal []*item             // gapless from h.Compacted+1
	tickets map[string][]uint64 // ticket -> records of the journal that carry it
	durable uint64              // the seq up to which the owner has reported writing

	view    *ledger.State
	size    uint64 // ledger size of the view when it was shown
	applied uint64 // raft index of the view

	suspended *recordv1.Finding // why it writes nothing for now, nil for nothing
	broken    string            // what stopped the journal until a restart, "" for nothing
	inside    bool              // SERVING, as of the last look
	diverged  *recordv1.Finding // why nothing rests on the state: replicas hold different histories
	servings  uint64            // counts the times that serving began anew

	// Forgotten when the yard stops serving (decisions.md 3 and 6).
	asked  map[string]ask    // point -> the Energise that may give a go-ahead
	handle map[string]uint64 // point -> last own record that says its handle was moved
}

// ask is an own Energise.
type ask struct {
	Request string
	At      ledger.Moved
}

// Effects is what a step asks its owner to do.
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
	// Grant and Promised are as they were recorded. Once Drained, the ledger's
	// own word about the record is newer than they are.
	Grant    recordv1.Grant
	Promised []string
	// Because says what stands against a promise, nil when it was given.
	Because *recordv1.Finding
	// Repeated: the record was written before; nothing new was.
	Repeated bool
	// Drained: the shown state has taken the record.
	Drained bool
}

// New takes up a journal as File gave it. run names this run of the replica and
// must never have been used before. It fails when the records are not this
// journal's, gapless and sealed by the key.
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

// last is the place and hash of the journal's end.
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

// at returns the record with a seq, nil when the journal no longer has it.
func (y *Yard) at(seq uint64) *item {
	if seq <= y.h.Compacted || seq > y.h.Compacted+uint64(len(y.journal)) {
		return nil
	}
	return y.journal[seq-y.h.Compacted-1]
}

// drained is how much of the journal the view has taken.
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

// View shows the Yard the applied state and the raft index it stands for; now is
// the yard's clock, Unix ms. It is level-triggered: only what the state says
// counts, so a restored snapshot does the same as the entries it stands for. It
// returns the fences to journal.
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
		return Effects{} // this yard's word would rest on a history in doubt
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

// leave stops serving: nothing handed out while it served counts any more.
func (y *Yard) leave() {
	if !y.inside {
		return
	}
	y.inside = false
	y.servings++
	clear(y.asked)
	clear(y.handle)
}

// Broken tells the Yard that a record could not be made durable, and what the system
// said of it. It serves no more until a restart.
func (y *Yard) Broken(why string) {
	if y.broken == "" {
		y.broken = why
	}
	y.leave()
}

// Diverged tells the Yard that replicas hold different histories. Until a restart
// it writes down facts as before, but gives no fence, no promise and no go-ahead,
// and takes no Energise. nil says nothing.
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

// Why a yard's machine is out of service.
var (
	JournalNotWritable = code.New("JOURNAL_NOT_WRITABLE", code.Row{Args: "yard error:text"})
	NoStateYet         = code.New("NO_STATE_YET", code.Row{Args: "yard"})
	StateNotShown      = code.New("STATE_NOT_SHOWN", code.Row{Args: "yard"})
	// OwnJournalElsewhere: the journal on its disk is of another ledger.
	OwnJournalElsewhere = code.New("OWN_JOURNAL_OF_OTHER_LEDGER", code.Row{Args: "yard"})
	// YardNotKnownYet: the ledger as this machine has it does not have the yard.
	YardNotKnownYet = code.New("YARD_NOT_KNOWN_YET", code.Row{Args: "yard"})
	// OtherMachine: the ledger knows another machine as this yard's.
	OtherMachine = code.New("OTHER_MACHINE", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	OtherEpoch   = code.New("JOURNAL_OF_OTHER_EPOCH", code.Row{Args: "yard epoch:number now:number"})
	// NotCaughtUp: it has not applied what its journal rests on.
	NotCaughtUp = code.New("NOT_CAUGHT_UP", code.Row{Args: "yard"})
	// StateTooOld: its state is older than what its journal has dropped.
	StateTooOld = code.New("STATE_TOO_OLD", code.Row{Args: "yard"})
	// JournalShort: the ledger has records of this yard that its disk lacks.
	JournalShort   = code.New("JOURNAL_SHORT", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
	JournalDiffers = code.New("JOURNAL_DIFFERS", code.Row{Args: "yard", Who: "two-managers", Next: recoverCommand})
)

// recoverCommand begins a yard anew after a walkdown.
const recoverCommand = "yardhasp recover-yard {yard} --second MANAGER --key KEY --address HOST:PORT --old-machine-off"

// Serving reports whether the yard may write and promise, and if not, why
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

// agrees reports whether the last record that the ledger took is ours.
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

// Pending lists the durable records that the shown state has not taken, in
// order, to be forwarded until it has. Nothing is forwarded under another
// machine's name or epoch.
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

// UnknownRecord: the journal of this yard has no such record, or has dropped it.
var UnknownRecord = code.New("UNKNOWN_RECORD", code.Row{Args: "record", Next: "yardhasp history", Answer: code.Unknown})

// Receipt is the recorded answer to the record with a seq, and whether it is
// durable: one that is not may not be sent. It is not given out of SERVING, when
// what was promised may no longer hold.
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

// About names the act of a record of the journal and, for a lock, what it hangs
// on; both are "" when the record is not there any more.
func (y *Yard) About(seq uint64) (kind, target string) {
	it := y.at(seq)
	if it == nil {
		return "", ""
	}
	return it.kind, it.point + it.box
}

// EquipmentLockHere: what was written down is a yard's equipment lock.
var EquipmentLockHere = code.New("EQUIPMENT_LOCK_HERE", code.Row{Args: "target", Clause: "1910.147(d)(4)(i)"})

// Caveat says what a lock of the journal must not be taken for; nil for a personal
// lock and for any other record.
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

// FindTicket finds the latest record of the journal with a ticket of a key.
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

// Clone returns an independent copy; the shown state is shared.
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

// AppendCanonical appends everything that decides what the Yard does next: two
// Yards with the same bytes behave the same.
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
