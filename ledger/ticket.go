package ledger

import (
	"encoding/base64"
	"fmt"
	"math/big"

	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TicketState remembers which ticket counters of one key and device were used:
// the highest, and the ticketWindow below it one by one.
type TicketState struct {
	High uint64 `json:"high"`
	Seen string `json:"seen"` // base64 of a bit set; bit i is High-i
}

func (t *TicketState) bits() *big.Int {
	b, _ := base64.RawStdEncoding.DecodeString(t.Seen)
	return new(big.Int).SetBytes(b)
}

func (t *TicketState) used(n uint64) bool {
	if n > t.High {
		return false
	}
	back := t.High - n
	return back >= ticketWindow || t.bits().Bit(int(back)) == 1
}

func (t *TicketState) use(n uint64) {
	b := t.bits()
	if n > t.High {
		b.Lsh(b, uint(min(n-t.High, ticketWindow)))
		t.High = n
	}
	if back := t.High - n; back < ticketWindow {
		b.SetBit(b, int(back), 1)
	}
	mask := new(big.Int).Lsh(big.NewInt(1), ticketWindow)
	b.And(b, mask.Sub(mask, big.NewInt(1)))
	t.Seen = base64.RawStdEncoding.EncodeToString(b.Bytes())
}

// useTicket takes the record's ticket (decisions.md 10). A repeat is refused,
// except that a lock, or anything else that protects, counts again: two holds
// too many are safe, one too few is not.
func (s *State) useTicket(x *step, t *Permit) bool {
	k := x.rec.GetTicket()
	id := seal.Fingerprint(x.e.keys[0]) + " " + k.GetDevice()
	w := s.Tickets[id]
	if w == nil {
		w = &TicketState{}
		s.Tickets[id] = w
	}
	if !w.used(k.GetCounter()) {
		w.use(k.GetCounter())
		return true
	}
	if t.Class == Protects {
		x.flag("TICKET_REPEATED", x.rec.GetSigner(), "the same record was sent before, perhaps to another yard: it counts a second time, and is ended a second time", "")
		return true
	}
	x.refuse("TICKET_REPEATED", x.rec.GetSigner(), fmt.Sprintf("this record (ticket %s %d) was taken before", k.GetDevice(), k.GetCounter()), "ask for its receipt; to do the act again, sign it again", x.rec.GetSigner(), "")
	return false
}

// TicketUsed reports whether the ledger has a record with this ticket, signed
// with this key. A yard asks before it writes one down (decisions.md 10).
func (s *State) TicketUsed(key []byte, k *recordv1.Ticket) bool {
	w := s.Tickets[seal.Fingerprint(key)+" "+k.GetDevice()]
	return w != nil && w.used(k.GetCounter())
}
