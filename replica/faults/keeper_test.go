package faults_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// managers beside the founding one: two of them order a removal.
var managers = []string{"ines", "otto"}

func box(yard string) string { return yard + "/box-1" }

// keep does what several people do together, and what concerns boxes: locks that
// are found and claimed, hand-overs, removals, keys put into a box and taken out.
func (p *person) keep(ctx context.Context) {
	for pause(ctx, time.Duration(100+p.rng.Intn(1000))*time.Millisecond) == nil {
		yard := yards[p.rng.Intn(len(yards))]
		c := p.rng.Intn(100)
		var b *recordv1.Board
		if c >= 12 && c < 64 {
			if b = p.board(ctx); b == nil {
				continue
			}
		}
		switch {
		case c < 12:
			p.submit(ctx, "finds a lock on "+point(yard), says("found-lock %s", point(yard)))
		case c < 28:
			p.claim(ctx, b)
		case c < 48:
			p.handOver(ctx, b)
		case c < 64:
			p.remove(ctx, b)
		case c < 74:
			add := point(yard)
			if p.rng.Intn(2) == 0 {
				add = point(yards[p.rng.Intn(len(yards))])
			}
			p.submit(ctx, "puts the key of "+add+" into "+box(yard), says("box-add %s %s", box(yard), add))
		case c < 82:
			out := point(yards[p.rng.Intn(len(yards))])
			p.submit(ctx, "takes the key of "+out+" out of "+box(yard), says("box-remove %s %s", box(yard), out))
		case len(p.on) > 0 && (c < 92 || len(p.on) > 1):
			p.release(ctx, 0)
		default:
			if r := p.submit(ctx, "locks "+box(yard), says("lock %s", box(yard))); r.GetRef() != "" {
				p.on = append(p.on, r.GetRef())
			}
		}
	}
}

// together has an act signed by several people, the first of whom sends it.
func (p *person) together(ctx context.Context, what string, rec *recordv1.Record, signs string, others ...string) bool {
	p.n++
	k := p.w.as(signs, p.yard, fmt.Sprintf("%s-%s-%d", p.id, signs, p.n))
	defer k.Close()
	d, err := k.NewDraft(rec)
	for _, id := range others {
		if err == nil {
			c := p.w.as(id, p.yard, "pen")
			err = errors.Join(c.Countersign(d), c.Close())
		}
	}
	if err != nil {
		p.w.story.tell("%s: %v", what, err)
		return false
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	o := &op{who: strings.Join(append([]string{signs}, others...), "+"), what: what, kind: ledger.KindOf(rec), rec: rec}
	p.w.story.begin(o)
	r, err := k.Send(ctx, d)
	p.w.story.answered(o, r, err)
	told := fmt.Sprintf("entry %d", r.GetOutcome().GetIndex())
	if err != nil {
		told = err.Error()
	}
	p.w.story.finish(o, told)
	return err == nil
}

// alone has somebody else at this yard record an act.
func (p *person) alone(ctx context.Context, who, what string, rec *recordv1.Record) {
	p.n++
	q := &person{w: p.w, id: who, yard: p.yard, k: p.w.as(who, p.yard, fmt.Sprintf("%s-%s-%d", p.id, who, p.n))}
	defer q.k.Close()
	q.submit(ctx, what, rec)
}

func (p *person) claim(ctx context.Context, b *recordv1.Board) {
	for _, h := range b.GetHolds() {
		if h.GetFound() {
			who := sortedWorkers()[p.rng.Intn(len(workers))]
			p.together(ctx, "claims "+h.GetRef(), says("claim-lock %s %s", h.GetRef(), manager), who, manager)
			return
		}
	}
}

func (p *person) handOver(ctx context.Context, b *recordv1.Board) {
	for _, off := range b.GetHolds() {
		i := slices.IndexFunc(b.GetHolds(), func(on *recordv1.HoldView) bool {
			return on.GetTarget() == off.GetTarget() && on.GetHolder() != off.GetHolder() && on.GetHolder() != ""
		})
		if off.GetHolder() == "" || i < 0 || p.rng.Intn(2) == 0 {
			continue
		}
		on := b.GetHolds()[i]
		p.together(ctx, "hands "+off.GetRef()+" over to "+on.GetRef(), says("hand-over {%s %s} %s", off.GetRef(), on.GetRef(), on.GetHolder()), off.GetHolder(), on.GetHolder())
		return
	}
}

func (p *person) remove(ctx context.Context, b *recordv1.Board) {
	for _, h := range b.GetHolds() {
		if p.rng.Intn(2) == 0 {
			continue
		}
		ok := p.together(ctx, "remove "+h.GetRef()+" of "+h.GetHolder(), says("removal %s %s", h.GetRef(), managers[1]), managers[0], managers[1])
		if ok && h.GetHolder() != "" && pause(ctx, time.Second) == nil {
			p.alone(ctx, h.GetHolder(), "knows that "+h.GetRef()+" was removed", says("acknowledge-removal %s", h.GetRef()))
		}
		return
	}
}
