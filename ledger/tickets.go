package ledger

import (
	"encoding/base64"
	"math/big"

	"yardhasp/ledger/code"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	// TicketRepeated refuses a record that was taken before.
	TicketRepeated = code.New("TICKET_REPEATED", code.Row{Args: "signer device counter:number", Who: "{signer}", Answer: code.Taken})
	// CountsTwice flags a record that protects and was sent before. It counts again.
	CountsTwice = code.New("COUNTS_TWICE", code.Row{Args: "signer device counter:number"})
)

// TicketState remembers which ticket counters of one key and device were used: the
// highest, and each of the ticketWindow counters below it.
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

// useTicket uses up the record's ticket (decisions.md 10). A repeat is refused. But a
// lock, or anything else that protects, counts again: one hold too many is safe, one too
// few is not.
func (x *step) useTicket(class Class) bool {
	k := x.rec.GetTicket()
	id := ticketID(x.e.keys[0], k)
	w := x.s.Tickets[id]
	if w == nil {
		w = &TicketState{}
		x.s.Tickets[id] = w
	}
	signer := x.rec.GetSigner()
	switch {
	case !w.used(k.GetCounter()):
		w.use(k.GetCounter())
	case class == Protects:
		x.note(CountsTwice, signer, signer, k.GetDevice(), k.GetCounter())
	default:
		x.deny(TicketRepeated, signer, signer, k.GetDevice(), k.GetCounter())
		return false
	}
	return true
}

// TicketUsed reports whether the ledger has a record with this ticket, signed with this
// key. A yard asks before it writes a record to its journal (decisions.md 10).
func (s *State) TicketUsed(key []byte, k *recordv1.Ticket) bool {
	w := s.Tickets[ticketID(key, k)]
	return w != nil && w.used(k.GetCounter())
}

func ticketID(key []byte, k *recordv1.Ticket) string {
	return seal.Fingerprint(key) + " " + k.GetDevice()
}
