package yard
import ("testing"
recordv1 "yardhasp/proto/yardhasp/record/v1")
func TestHoleClosedJob(t *testing.T) {
	w := newWorld(t)
	e, m := w.yards["eastfork"], w.yards["millrow"]
	e.job("j1", "eastfork/tunnel", drag)
	e.job("j2", "eastfork/tunnel", drag)
	w.opened(drag)
	h := e.lock("walt", onPoint(drag))
	w.settle()
	r := e.signOn("walt", "j1") // eastfork cut off from here
	t.Logf("grant %v %v", r.Grant, r.Promised)
	m.note("wanda", func(r *recordv1.Record) { r.Act = &recordv1.Record_CloseJob{CloseJob: &recordv1.CloseJob{Job: "j1"}} })
	m.drain()
	t.Logf("close: %v", w.last)
	e.release("walt", h.Seq)
	w.settle()
	w.clear("j2")
	w.request("r1", "j2", drag)
	w.catchUp(); w.settle()
	t.Logf("req %v", w.s.Reqs["r1"].State)
	x, err := e.energise(drag, "r1")
	t.Logf("%v %v", x, err)
	// what the ledger alone would say: bypass the yard's own courtesy check
	env := e.y.envelope(w.now); env.Grant = none
	env.Body = &recordv1.Envelope_Signed{Signed: w.sign("walt", func(r *recordv1.Record) { r.Act = &recordv1.Record_Energise{Energise: &recordv1.Energise{Request: "r1", Point: drag}} })}
	it, _ := e.y.write(env); e.save(Effects{Append: []Record{it.Record}}); e.drain()
	t.Logf("energise in ledger: %v live %v signon off %v promised %v", w.last.Accepted, w.s.Points[drag].Live, w.s.SignOns[r.Ref].Off.Set(), w.s.SignOns[r.Ref].Promised)
}
