package yard

import (
	"fmt"
	"slices"
	"strings"

	"yardhasp/ledger"
	"yardhasp/ledger/seal"
)

// mayEnd is the mask of a person's live keys that may end what needs a key no
// younger than since.
func (x *explorer) mayEnd(s *ledger.State, person string, since uint64) (m byte) {
	for i, f := range sorted(s.Keys) {
		if k := s.Keys[f]; k.Person == person && k.Revoked == 0 && k.Since <= since {
			m |= 1 << (i % 8)
		}
	}
	return m
}

// put commits a direct entry that is taken.
func (x *explorer) put(s *sit, do emit, act string, signed []byte, set func(n *sit)) {
	l := x.accepted(s.tip, x.entry(ledger.DirectEntry(signed), x.now))
	if l == nil {
		return
	}
	n := *s
	n.tip = l
	bad := x.kept(s, &n)
	set(&n)
	do(act, &n, bad)
}

// several: what needs several people, or gives a key. Right ones and wrong ones
// are tried; a wrong one that is taken is judged.
func (x *explorer) several(s *sit, do emit) {
	x.removals(s, do)
	x.handOvers(s, do)
	x.keyChanges(s, do)
	x.standClears(s, do)
	if int(s.n.claims) < x.b.claims {
		for i := range s.claims {
			c := &s.claims[i]
			if c.signOn || c.over {
				continue
			}
			for _, witness := range []string{"mia", "walt"} {
				k := s.present("wanda")
				name := fmt.Sprint("claim ", c.ref, witness, k.name)
				signed := x.sign(name, fmt.Sprintf("claim-%d", c.slot), "wanda", says("claim-lock %s %s", c.ref, witness), k.name, witness)
				l := x.accepted(s.tip, x.entry(ledger.DirectEntry(signed), x.now))
				if l == nil {
					continue
				}
				n := *s
				n.tip = l
				n.n.claims++
				bad := x.kept(s, &n)
				switch {
				case bad != "":
				case s.tip.s.Holds[c.ref].Holder != "":
					bad = "the lock " + c.ref + " of " + s.tip.s.Holds[c.ref].Holder + " was claimed by wanda"
				case k.root != "wanda":
					bad = "a lock was claimed with a key that " + witness + ", who bears its owner out, had given"
				case witness != "mia":
					bad = "a lock was claimed on the word of " + witness + ", who is no supervisor"
				}
				d := n.claim(i)
				d.who, d.root, d.fixed = "wanda", k.root, false
				do(fmt.Sprintf("wanda claims the found lock %s, and %s bears her out", c.ref, witness), &n, bad)
			}
		}
	}
}

func (x *explorer) removals(s *sit, do emit) {
	if int(s.n.removals) >= x.b.removals {
		return
	}
	for i := range s.claims {
		c := &s.claims[i]
		if c.signOn || c.over {
			continue
		}
		for _, second := range []string{"ines", "walt"} {
			a, b := s.present("mia").name, s.present(second).name
			name := fmt.Sprintf("remove-%d %s %s %s", s.n.removals, c.ref, a, b)
			signed := x.sign(name, slot("remove", s.n.removals), "mia", says("removal %s %s", c.ref, second), a, b)
			x.put(s, do, fmt.Sprintf("mia and %s remove lock %s", second, c.ref), signed, func(n *sit) { n.n.removals++ })
		}
	}
}

// handOvers tries every pair of locks, signed by both people and by the one going
// off alone, and a circle.
func (x *explorer) handOvers(s *sit, do emit) {
	if int(s.n.handOvers) >= x.b.handOvers {
		return
	}
	try := func(off, on *claim, with string, circle bool) {
		pairs := fmt.Sprintf("{%s %s}", off.ref, on.ref)
		if circle {
			pairs += fmt.Sprintf(",{%s %s}", on.ref, off.ref)
		}
		var others []string
		if with != off.who {
			others = []string{with}
		}
		for _, k := range s.every(off.who) {
			keys := []string{k.name}
			for _, o := range others {
				keys = append(keys, s.present(o).name)
			}
			back := ""
			if circle {
				back = " and back"
			}
			name := fmt.Sprint("hand-", s.n.handOvers, off.ref, on.ref, with, circle, keys)
			signed := x.sign(name, slot("hand", s.n.handOvers), off.who, says("hand-over pairs=%s others=%s", pairs, others), keys...)
			x.put(s, do, fmt.Sprintf("lock %s is handed over to %s%s, signed with %s", off.ref, on.ref, back, strings.Join(keys, " and ")), signed, func(n *sit) { n.n.handOvers++ })
		}
	}
	for i := range s.claims {
		for j := range s.claims {
			off, on := &s.claims[i], &s.claims[j]
			if i == j || off.signOn || on.signOn || off.over || off.who == "" {
				continue
			}
			if on.who == "" {
				on = &claim{ref: on.ref, who: off.who}
			}
			try(off, on, on.who, false)
			try(off, on, "mia", false) // who has nothing to do with it
			try(off, on, on.who, true)
		}
	}
}

// keyChanges: a manager gives somebody a new key; somebody puts a new key in the
// place of their own.
func (x *explorer) keyChanges(s *sit, do emit) {
	who := "wanda"
	if x.b.rekeyed != "" {
		who = x.b.rekeyed
	}
	if i := s.n.reissues; int(i) < x.b.reissues {
		k := fmt.Sprintf("%s-reissued-%d", who, i)
		x.names[string(public(k))] = k
		x.put(s, do, "mia gives "+who+" the new key "+k, x.sign("give "+k, "give-"+k, "mia", says("reissue-key %s %s", who, k), "mia", k), func(n *sit) {
			n.n.reissues++
			n.keys = append(slices.Clone(n.keys), signer{who, k, k})
		})
	}
	if i := s.n.replaces; int(i) < x.b.replaces {
		old := s.present(who)
		k := fmt.Sprintf("%s-next-%d", old.name, i)
		x.names[string(public(k))] = k
		x.put(s, do, who+" puts the key "+k+" in the place of "+old.name, x.sign("replace "+k, "replace-"+k, who, says("replace-key %s", k), old.name, k), func(n *sit) {
			n.n.replaces++
			n.keys = append(slices.Clone(n.keys), signer{who, k, old.root})
		})
	}
}

// starts: something is found running that the ledger did not start. A yard's own
// points that it names are closed.
func (x *explorer) starts(s *sit, t *seat, do emit) {
	if int(s.n.starts) >= x.b.starts {
		return
	}
	for _, p := range x.b.started {
		name := fmt.Sprintf("started-%d %s", s.n.starts, p)
		signed := x.sign(name, slot("started", s.n.starts), "walt", says("found-started %s \"the belt runs\"", p))
		m := x.capture(t, name, signed, "", false)
		if m.err != nil {
			do(t.id+" would not write down that "+p+" was started", s, "a start without the ledger was refused: "+m.err.Error())
			continue
		}
		n := *s
		n.seats[t.no] = m.to
		n.n.starts++
		if bit := x.bit(p); ledger.YardOf(p) == t.id {
			n.rogue |= bit &^ n.phys
			n.phys |= bit
		}
		do(fmt.Sprintf("walt finds that %s was started without the ledger; %s writes it down", p, t.id), &n, "")
	}
}

// fingerprint names a key as a journal's header does.
func fingerprint(name string) string { return seal.Fingerprint(public(name)) }
