package faults_test

import (
	"context"
	"fmt"
	"math/rand"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// op is one thing that a person asked of the ledger, and the answer.
type op struct {
	who, what, told string
	kind            string // of the record; "board" and "panel" for reads
	point           string // that it is about, if any
	rec             *recordv1.Record
	receipt         *servicev1.Receipt
	refused         *client.Refused
	board           *recordv1.Board
	panel           *servicev1.GetPanelResponse
	call, ret       int64 // places in the real-time order; ret 0: never answered
}

func (o *op) ticket() string { return ticketName(o.rec.GetTicket()) }

func ticketName(t *recordv1.Ticket) string {
	return fmt.Sprintf("%s/%d", t.GetDevice(), t.GetCounter())
}

// person is somebody at work with the public client.
type person struct {
	w    *world
	id   string
	yard string
	rng  *rand.Rand
	k    *client.Client
	on   []string // their locks, as far as they know
	in   []string // their sign-ons
	n    int

	tests bool // tests are asked for in the middle of the work, and people stand clear
}

// patience is how long a person waits for one answer.
const patience = 6 * time.Second

func (w *world) person(id, yard string, seed int64) *person {
	return &person{w: w, id: id, yard: yard, rng: rand.New(rand.NewSource(seed)), k: w.as(id, yard, id+"-"+yard)}
}

// submit records an act; nil when it was not taken, or nobody knows.
func (p *person) submit(ctx context.Context, what string, rec *recordv1.Record) *servicev1.Receipt {
	return p.ask(ctx, what, rec).receipt
}

// ask records an act, and gives all that came of it.
func (p *person) ask(ctx context.Context, what string, rec *recordv1.Record) *op {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	rec = proto.CloneOf(rec) // signing writes the ticket into it, and each try has its own
	o := &op{who: p.id + "@" + p.yard, what: what, kind: ledger.KindOf(rec), point: pointAt(rec), rec: rec}
	p.w.story.begin(o)
	receipt, err := p.k.Submit(ctx, rec)
	p.w.story.answered(o, receipt, err)
	told := ""
	switch {
	case err == nil:
		told = strings.TrimPrefix(receipt.GetStatus().String(), "STATUS_") + " " + receipt.GetRef()
		if receipt.GetOutcome() != nil {
			told += fmt.Sprintf(", entry %d", receipt.GetOutcome().GetIndex())
		}
	case o.refused != nil:
		told = "refused"
		for _, c := range o.refused.Outcome.GetConditions() {
			told += " " + c.GetCode()
		}
	default:
		told, _, _ = strings.Cut(err.Error(), "\n")
	}
	p.w.story.finish(o, told)
	return o
}

// pointAt is the point that an act is about, "" for none.
func pointAt(r *recordv1.Record) string {
	switch a := r.GetAct().(type) {
	case *recordv1.Record_Lock:
		return a.Lock.GetTarget().GetPoint()
	case *recordv1.Record_FoundLock:
		return a.FoundLock.GetTarget().GetPoint()
	case *recordv1.Record_Isolate:
		return a.Isolate.GetPoint()
	case *recordv1.Record_Closed:
		return a.Closed.GetPoint()
	case *recordv1.Record_Energise:
		return a.Energise.GetPoint()
	case *recordv1.Record_RegisterPoint:
		return a.RegisterPoint.GetPoint()
	}
	return ""
}

// board reads what stands everywhere, confirmed or not at all.
func (p *person) board(ctx context.Context) *recordv1.Board {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	o := &op{who: p.id + "@" + p.yard, what: "reads the board", kind: "board"}
	p.w.story.begin(o)
	b, err := p.k.Board(ctx, servicev1.Consistency_CONSISTENCY_CONFIRMED, "")
	told := "no answer"
	if err == nil && b.GetAsOf().GetConfirmed() {
		o.board = b
		told = fmt.Sprintf("from %s at size %d:", b.GetAsOf().GetYard(), b.GetAsOf().GetSize())
		for _, v := range b.GetPoints() {
			told += fmt.Sprintf(" %s %s %v", v.GetPoint(), strings.TrimPrefix(v.GetPosition().String(), "POSITION_"), v.GetHolds())
		}
	}
	p.w.story.finish(o, told)
	return o.board
}

// look reads a panel; true means that the ledger says it may be closed now.
func (p *person) look(ctx context.Context, point string) bool {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	o := &op{who: p.id + "@" + p.yard, what: "looks at the panel of " + point, kind: "panel", point: point}
	p.w.story.begin(o)
	v, err := p.k.Panel(ctx, point)
	told := "no answer"
	if err == nil {
		o.panel, told = v, v.GetMeans().GetCode()
	}
	p.w.story.finish(o, told)
	return o.panel.GetGoAhead()
}

func (p *person) lock(ctx context.Context, yard string, named bool) {
	act := says("lock %s", point(yard))
	if named {
		act = says("lock %s job=%s", point(yard), job(yard))
	}
	if r := p.submit(ctx, "locks "+point(yard), act); r.GetRef() != "" {
		p.on = append(p.on, r.GetRef())
	}
}

func (p *person) release(ctx context.Context, i int) {
	ref := p.on[i]
	r := p.submit(ctx, "takes off "+ref, says("release %s", ref))
	if r.GetOutcome().GetAccepted() || p.rng.Intn(4) == 0 {
		p.on = slices.Delete(p.on, i, i+1)
	}
}

func (p *person) isolate(ctx context.Context, yard string) {
	p.submit(ctx, "opens "+point(yard), says("isolate %s", point(yard)))
}

func (p *person) enter(ctx context.Context, yard string) {
	if r := p.submit(ctx, "signs on to "+job(yard), says("sign-on %s", job(yard))); r.GetRef() != "" {
		p.in = append(p.in, r.GetRef())
	}
}

func (p *person) leave(ctx context.Context) {
	ref := p.in[0]
	r := p.submit(ctx, "signs off "+ref, says("sign-off %s", ref))
	if r.GetOutcome().GetAccepted() || p.rng.Intn(4) == 0 {
		p.in = p.in[1:]
	}
}

// work locks, releases, opens, enters, leaves and reads until ctx ends.
func (p *person) work(ctx context.Context) {
	for pause(ctx, time.Duration(50+p.rng.Intn(1500))*time.Millisecond) == nil {
		yard := p.yard
		if p.rng.Intn(3) == 0 {
			yard = yards[p.rng.Intn(len(yards))]
		}
		switch c := p.rng.Intn(100); {
		case len(p.on) > 0 && (c < 35 || len(p.on) > 2):
			p.release(ctx, p.rng.Intn(len(p.on)))
		case len(p.in) > 0 && c < 50:
			p.leave(ctx)
		case c < 55:
			p.lock(ctx, yard, p.rng.Intn(2) == 0)
		case c < 62:
			p.isolate(ctx, yard)
		case c < 66:
			p.enter(ctx, yard)
		default:
			if b := p.board(ctx); p.tests {
				p.clears(ctx, b)
			}
		}
	}
}

// startUp tries to give points back: it clears the area, asks, waits, and closes.
func (p *person) startUp(ctx context.Context) {
	for pause(ctx, time.Duration(50+p.rng.Intn(800))*time.Millisecond) == nil {
		yard := yards[p.rng.Intn(len(yards))]
		if p.board(ctx) == nil {
			continue
		}
		p.n++
		id := fmt.Sprintf("start-%s-%d", p.yard, p.n)
		act := func(what string, r *recordv1.Record) bool { return p.submit(ctx, what, r) != nil }
		act("clears "+job(yard), clears(yard))
		act("tells people of "+job(yard), tells(yard))
		test, kind := p.tests && p.rng.Intn(3) > 0, "request"
		if test {
			id, kind = strings.Replace(id, "start-", jog, 1), "test"
		}
		ask := says("%s %s %s %s deadline=+%ds", kind, id, job(yard), point(yard), 10+p.rng.Intn(50))
		if !act("asks to start "+point(yard)+" ("+id+")", ask) {
			continue
		}
		if test {
			p.gather(ctx, id)
			act("tells people of "+job(yard), tells(yard))
		}
		ok := false
		for try := 0; try < 4 && !ok; try++ {
			if pause(ctx, time.Duration(20+p.rng.Intn(1500))*time.Millisecond) != nil {
				return
			}
			ok = act("energises "+point(yard), energises(id, yard))
		}
		if ok && p.look(ctx, point(yard)) {
			act("closes "+point(yard), says("closed %s", point(yard)))
		}
		if p.rng.Intn(2) == 0 {
			p.isolate(ctx, yard)
		}
	}
}
