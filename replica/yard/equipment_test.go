package yard

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// 1910.147(d)(4)(i), and decisions.md 5 and 9: a yard's equipment lock, and a tag in
// the place of a lock, are written down and promised as any lock is and withdraw a
// go-ahead, but they stop no energy on the way to somebody who enters.
func TestEquipmentLockIsNoBarrier(t *testing.T) {
	for name, l := range map[string]string{
		"equipment lock": "equipment=yes review=1000000000000000",
		"tag alone":      "tag.only=yes",
	} {
		w := newWorld(t)
		e := w.yards["eastfork"]
		e.job("j1", "eastfork/tunnel", drag)
		w.opened(drag)
		r := e.note("walt", says("lock %s "+l, drag))
		wantGrant(t, r, held, drag)
		if e.y.Caveat(r.Seq) == nil {
			t.Errorf("%s: its receipt reads like that of a personal lock", name)
		}
		wantGrant(t, e.signOn("wanda", "j1"), live)
		w.settle()
		wantGrant(t, e.signOn("wanda", "j1"), live)
		if got := e.y.Panel(drag).Position; got != recordv1.Position_POSITION_OPEN {
			t.Errorf("%s: the panel says %v", name, got)
		}
		if own := e.lock("wanda", onPoint(drag)); e.y.Caveat(own.Seq) != nil {
			t.Errorf("a personal lock has the caveat %v", e.y.Caveat(own.Seq))
		}
		wantGrant(t, e.signOn("walt", "j1"), held, drag)
	}
}

func (st *site) choked(where string) *Reply {
	st.w.t.Helper()
	return st.note("abe", says("found-choked %s", where))
}

// A choke that the point does not reach stops nothing at its panel.
func TestAnotherLegsChokeStopsNothing(t *testing.T) {
	w, e := goAhead(t)
	e.choked("eastfork/pit")
	w.yards["millrow"].choked("millrow/gallery")
	w.yards["millrow"].drain()
	e.catchUp()
	if v := e.y.Panel(drag); !v.GoAhead {
		t.Errorf("the go-ahead is gone: %v", v.Against)
	}
}
