package yard

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Written is a record that is on this yard's disk and not in the ledger as this
// yard has it: nobody else knows of it.
type Written struct {
	Ref, Kind, Signer string
	// About is the point, box, job or request that it names; may be empty.
	About string
	// At is the yard's clock when it was written, in Unix ms.
	At int64
	// Promised lists the points that this yard keeps off on account of it, now: none
	// once it is signed off here, one of them is live, or the yard promises nothing.
	Promised []string
}

// Written lists the durable records of people that the ledger lacks, in order.
func (y *Yard) Written() []Written {
	if y.view == nil {
		return nil
	}
	serving, _ := y.Serving()
	c := y.scene()
	off := map[string]bool{}
	for _, it := range c.tail {
		off[it.hold], off[it.signOn] = true, true
	}
	var out []Written
	for _, it := range c.tail {
		if it.kind == "fence" || it.seq > y.durable {
			continue
		}
		w := Written{Ref: it.ref(), Kind: it.kind, Signer: it.rec.GetSigner(), At: it.Envelope.GetWrittenUnixMs()}
		for _, s := range []string{it.point, it.box, it.job, it.request, it.hold, it.signOn} {
			if w.About == "" {
				w.About = s
			}
		}
		if it.Envelope.GetGrant() == recordv1.Grant_GRANT_HELD_LOCALLY && serving && y.diverged == nil && !off[w.Ref] && !slices.ContainsFunc(it.Envelope.GetPromised(), c.live) {
			w.Promised = slices.Clone(it.Envelope.GetPromised())
		}
		out = append(out, w)
	}
	return out
}
