package ledger

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// What a yard's machine asks of the rules before it writes a record down, and what it
// shows at a panel.

// Stands says that a lock is on and how it comes off. subject is what asks: a point.
func (h *Hold) Stands(subject string) *recordv1.Finding { return h.stands(subject) }

// Finding says what is choked: never jog a choked leg to free it.
func (c *Choke) Finding() *recordv1.Finding { return c.finding() }

// Word names who may, in the catalogue: "supervisor-manager".
func (m May) Word() string { return m.word() }
