package yard

import (
	"fmt"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// signOffs: a lock taken off or a zone left, recorded at any yard, whatever that
// yard knows of it.
func (x *explorer) signOffs(s *sit, t *seat, do emit) {
	for i := range s.claims {
		c := &s.claims[i]
		if c.fixed || c.over || !c.sent || c.who == "" || !(x.b.releases || c.signOn || x.b.guarded) {
			continue
		}
		for j, k := range s.every(c.who) {
			bit := uint16(1) << (3*j + int(t.no))
			if c.off&bit != 0 {
				continue
			}
			name, with := "off "+c.ref, ""
			if j > 0 {
				name, with = name+" "+k.name, " with the key "+k.name
			}
			if n, _ := x.note(s, t, name, x.sign(name, slot("off", c.slot), c.who, offOf(c), k.name), ""); n != nil {
				n.claim(i).off |= bit
				do(fmt.Sprintf("%s writes down the sign-off of %s by %s%s", t.id, c.ref, c.who, with), n, "")
			}
		}
	}
}

func offOf(c *claim) func(*recordv1.Record) {
	return says("%s %s", map[bool]string{true: "sign-off", false: "release"}[c.signOn], c.ref)
}

// notes: the area looked over, the affected told again, a job closed.
func (x *explorer) notes(s *sit, t *seat, do emit) {
	if int(s.n.tells) < x.b.tells {
		acts := [][2]string{{"tell", "j1"}}
		if x.b.signs > 0 {
			acts = append(acts, [2]string{"look", "j2"})
		}
		if x.b.signs > 0 && x.b.losses > 0 { // what was lost may have been the word of it
			acts = append(acts, [2]string{"tell", "j2"})
		}
		for _, a := range acts {
			what, job := a[0], a[1]
			name := fmt.Sprintf("note-%d %s %s", s.n.tells, what, job)
			signed := x.sign(name, slot("note", s.n.tells)+"-"+job, "walt", noteOf(what, job))
			if n, _ := x.note(s, t, name, signed, ""); n != nil {
				n.n.tells++
				do(fmt.Sprintf("%s writes down: %s for %s", t.id, what, job), n, "")
			}
		}
	}
	if x.b.closeJob && !s.n.closed {
		signed := x.sign("close-job", "close-job", "mia", says("close-job j2"))
		if n, _ := x.note(s, t, "close-job", signed, ""); n != nil {
			n.n.closed = true
			do(t.id+" writes down that job j2 is closed", n, "")
		}
	}
}

func noteOf(what, job string) func(*recordv1.Record) {
	return says("%s %s", map[string]string{"tell": "notice", "look": "clear-area"}[what], job)
}
