package cli

import (
	"fmt"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// keyless names points that only a box holds, with no lock recorded on the point itself.
// The box may have a key from an earlier job on record, and that key opens nothing that
// hangs there now. If a lock is not shown, keyless says nothing about its point.
func keyless(points []*recordv1.PointView, holds []*recordv1.HoldView) []string {
	var out []string
	for _, v := range points {
		alone := len(v.GetHolds()) > 0
		for _, ref := range v.GetHolds() {
			i := slices.IndexFunc(holds, func(h *recordv1.HoldView) bool { return h.GetRef() == ref })
			alone = alone && i >= 0 && slices.Contains(v.GetBoxes(), holds[i].GetTarget())
		}
		if alone {
			out = append(out, fmt.Sprintf("NO LOCK ON THE POINT: the key of %s is recorded in %s, and no lock is recorded on %s itself: go and look before you rely on it", v.GetPoint(), strings.Join(v.GetBoxes(), ", "), v.GetPoint()))
		}
	}
	return out
}

func (p *page) keyless(points []*recordv1.PointView, holds []*recordv1.HoldView) {
	for _, t := range keyless(points, holds) {
		word, rest, _ := strings.Cut(t, ": ")
		p.loud(word+":", "%s", rest)
	}
}
