package faults_test

import (
	"context"
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// jog begins the names of tests.
const jog = "jog-"

func standsClear(hold, request string, asked uint64) *recordv1.Record {
	return says("stand-clear %s %s %d", hold, request, asked)
}

// clears stands clear of the person's own locks for the tests on the board; now and
// then of somebody else's, or for an earlier request, which must not be taken.
func (p *person) clears(ctx context.Context, b *recordv1.Board) {
	for _, q := range b.GetRequests() {
		for _, h := range b.GetHolds() {
			mine := h.GetHolder() == p.id
			if !slices.Contains(q.GetNotClear(), h.GetRef()) || !mine && p.rng.Intn(8) > 0 || mine && p.rng.Intn(3) == 0 {
				continue
			}
			asked := q.GetIndex()
			if p.rng.Intn(8) == 0 {
				asked--
			}
			p.submit(ctx, "stands clear of "+h.GetRef()+" for "+q.GetId(), standsClear(h.GetRef(), q.GetId(), asked))
		}
	}
}

// gather has every holder that a test waits for stand clear, most of the time, and
// now and then somebody else, or the holder for another request of that name.
func (p *person) gather(ctx context.Context, request string) {
	b := p.board(ctx)
	for _, q := range b.GetRequests() {
		if q.GetId() != request {
			continue
		}
		for _, h := range b.GetHolds() {
			if !slices.Contains(q.GetNotClear(), h.GetRef()) || h.GetHolder() == "" {
				continue
			}
			switch p.rng.Intn(6) { // neither of these must be taken
			case 0:
				p.alone(ctx, h.GetHolder(), "stands clear of "+h.GetRef()+" for an older "+request, standsClear(h.GetRef(), request, q.GetIndex()-1))
			case 1:
				other := sortedWorkers()[p.rng.Intn(len(workers))]
				p.alone(ctx, other, other+" stands clear of "+h.GetRef()+" for "+request, standsClear(h.GetRef(), request, q.GetIndex()))
			}
			if p.rng.Intn(8) > 0 {
				p.alone(ctx, h.GetHolder(), "stands clear of "+h.GetRef()+" for "+request, standsClear(h.GetRef(), request, q.GetIndex()))
			}
		}
	}
}
