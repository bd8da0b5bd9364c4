package yard

import (
	"fmt"
	"slices"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// signer is a key that signs for a person. Root is the key that it stands for:
// the first of those that each signed for the next, itself for a reissued one.
type signer struct{ person, name, root string }

// ended judges which locks and sign-ons an entry took away: those that it names,
// no other (protocol.md C7), for whom it may, and with a key that may. It keeps
// the books of what was promised.
func (x *explorer) ended(s, n *sit) string {
	rec := n.tip.e.Record()
	named := map[string]bool{}
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Release:
		named[ledger.RefOf(a.Release.GetHold())] = true
	case *recordv1.Record_SignOff:
		named[ledger.RefOf(a.SignOff.GetSignOn())] = true
	case *recordv1.Record_Removal:
		named[ledger.RefOf(a.Removal.GetHold())] = true
	case *recordv1.Record_HandOver:
		for _, p := range a.HandOver.GetPairs() {
			named[ledger.RefOf(p.GetOff())] = true
		}
	}
	for _, ref := range sorted(s.tip.s.Holds) {
		was, is := s.tip.s.Holds[ref], n.tip.s.Holds[ref]
		if was.Off.By != "" || is != nil && is.Off.By == "" {
			continue
		}
		if !named[ref] {
			return fmt.Sprintf("C7: lock %s was ended by a record that does not name it", ref)
		}
		if bad := x.mayHaveEnded(s, n, ref, was.Holder, rec); bad != "" {
			return bad
		}
	}
	for _, ref := range sorted(s.tip.s.SignOns) {
		was, is := s.tip.s.SignOns[ref], n.tip.s.SignOns[ref]
		if was.Off.By != "" || is != nil && is.Off.By == "" {
			continue
		}
		if !named[ref] {
			return fmt.Sprintf("C7: sign-on %s was ended by a record that does not name it", ref)
		}
		if bad := x.mayHaveEnded(s, n, ref, was.Person, rec); bad != "" {
			return bad
		}
	}
	return x.handed(s, n, rec.GetHandOver())
}

// mayHaveEnded judges by whose word a lock or sign-on ended.
func (x *explorer) mayHaveEnded(s, n *sit, ref, holder string, rec *recordv1.Record) string {
	x.over(n, ref)
	keys := x.keysOf(n.tip.e)
	if r := rec.GetRemoval(); r != nil {
		return x.removed(s, n, ref, holder, rec.GetSigner(), r.GetSecond(), keys)
	}
	if holder == "" {
		return "a found lock whose owner nobody knows was ended without two managers: " + ref
	}
	root := holder
	for i := range s.claims {
		if s.claims[i].ref == ref {
			root = s.claims[i].root
		}
	}
	var by *signer
	for i, k := range s.keys {
		if k.person == holder && slices.Contains(keys, k.name) {
			by = &s.keys[i]
		}
	}
	switch {
	case by == nil && !slices.Contains(keys, holder):
		return fmt.Sprintf("%s was ended and %s did not sign", ref, holder)
	case by == nil:
		by = &signer{holder, holder, holder}
	}
	if now := s.present(holder); now.name != by.name {
		return fmt.Sprintf("decision 2: %s was ended with a key of %s that had been taken back", ref, holder)
	}
	if by.root != root {
		return fmt.Sprintf("%s was ended with a key of %s that was enrolled later, and the old key did not sign for it", ref, holder)
	}
	return ""
}

// present is the key of a person that the ledger has as live.
func (s *sit) present(person string) signer {
	k := signer{person, person, person}
	for _, o := range s.keys {
		if o.person == person {
			k = o
		}
	}
	return k
}

// every lists all keys that a person ever had.
func (s *sit) every(person string) []signer {
	out := []signer{{person, person, person}}
	for _, o := range s.keys {
		if o.person == person {
			out = append(out, o)
		}
	}
	return out
}

// removed: two managers, neither the holder, neither by the other's hand, and the
// holder's alarm is up (1910.147(e)(3)).
func (x *explorer) removed(s, n *sit, ref, holder, first, second string, keys []string) string {
	for _, m := range []string{first, second} {
		if p := s.tip.s.People[m]; p == nil || !slices.Contains(p.Roles, recordv1.Role_ROLE_MANAGER) {
			return fmt.Sprintf("%s was removed on the word of %s, who is no manager", ref, m)
		}
		if !slices.Contains(keys, s.present(m).name) {
			return fmt.Sprintf("%s was removed and %s did not sign", ref, m)
		}
		if m == holder {
			return fmt.Sprintf("%s was removed by its own holder as an absent person's", ref)
		}
	}
	if first == second {
		return ref + " was removed by one manager"
	}
	if s.present(first).root != first || s.present(second).root != second {
		return fmt.Sprintf("%s was removed with a key that one of the two had given the other", ref)
	}
	told := slices.ContainsFunc(n.tip.s.Alarms, func(a ledger.Alarm) bool {
		return a.Code == "REMOVAL_NOT_ACKNOWLEDGED" && a.Subject == ref
	})
	if holder != "" && !told {
		return "the lock " + ref + " was removed and no alarm says that its holder must be told"
	}
	return ""
}

// handed: what takes over is on, was on, on the same target, and somebody else's
// (I5).
func (x *explorer) handed(s, n *sit, o *recordv1.HandOver) string {
	if !n.tip.out.GetAccepted() {
		return ""
	}
	keys := x.keysOf(n.tip.e)
	for _, p := range o.GetPairs() {
		off, on := s.tip.s.Holds[ledger.RefOf(p.GetOff())], s.tip.s.Holds[ledger.RefOf(p.GetOn())]
		now := n.tip.s.Holds[ledger.RefOf(p.GetOn())]
		switch {
		case on == nil || on.Off.By != "" || now == nil || now.Off.By != "":
			return "I5: handed over to " + ledger.RefOf(p.GetOn()) + ", which is not on"
		case stoodFor(s.tip, ledger.RefOf(p.GetOff())) != "" || stoodFor(s.tip, ledger.RefOf(p.GetOn())) != "":
			return "I5, C13: handed over from or to a lock whose holder stood clear of it"
		case off.Point != on.Point || off.Box != on.Box:
			return "I5: handed over to a lock on another target"
		case off.Holder == on.Holder:
			return "I5: handed over to nobody else"
		case !slices.Contains(keys, s.present(on.Holder).name):
			return "I5: handed over to " + on.Holder + ", who did not sign"
		}
	}
	return ""
}

// keysOf names the keys that signed a person's record, in order.
func (x *explorer) keysOf(e *ledger.Entry) []string {
	var out []string
	for _, k := range e.Keys() {
		out = append(out, x.names[string(k)])
	}
	return out
}

// refusedOwner: a lock that stands is taken off by its holder with the present
// key, if that key stands for the one that put it on.
func (x *explorer) refusedOwner(s, n *sit, rec *recordv1.Record) string {
	ref := ledger.RefOf(rec.GetRelease().GetHold())
	h := s.tip.s.Holds[ref]
	if h == nil || h.Off.By != "" || h.Holder != rec.GetSigner() {
		return ""
	}
	if !slices.ContainsFunc(n.tip.out.GetConditions(), func(c *recordv1.Finding) bool { return c.GetCode() == "KEY_NEWER_THAN_LOCK" }) {
		return ""
	}
	k := s.present(h.Holder)
	for _, c := range s.claims {
		if c.ref == ref && c.root == k.root && slices.Contains(x.keysOf(n.tip.e), k.name) {
			return fmt.Sprintf("%s can't take %s off with the present key, which the old one signed for", h.Holder, ref)
		}
	}
	return ""
}
