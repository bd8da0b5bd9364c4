package yard

import (
	"slices"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Written is a record on this yard's disk that the ledger, as this yard has it, lacks.
// Nobody else knows of it.
type Written struct {
	Ref, Kind, Signer string
	// About is the point, box, job or request that the record names. It may be empty.
	About string
	// At is when the record was written, by the yard's clock, Unix ms.
	At int64
	// Promised lists the points that this yard now keeps open because of the record.
	// It is empty once the record is signed off here, when one of the points is live,
	// and when the yard promises nothing.
	Promised []string
}

// Written lists, in order, the durable records of people that the ledger lacks.
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
