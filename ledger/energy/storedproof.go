package energy

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// storeProof is the reading or sight that proves a store empty or held. Time alone never
// does: bleeders fail open, and machines coast longer than measured.
func storeProof(s *Store) Proof {
	p := proofs[s.Medium]
	p.Part, p.Medium = s.ID, s.Medium
	if s.Medium == recordv1.Medium_MEDIUM_ELECTRICITY {
		p.Text = "measure terminal to terminal and each terminal to ground, DC and AC, below 50 V; prove the meter on a known source before and after"
		p.Source = "29 CFR 1910.333(b)(2)(ii)(C), (iv)(B); NEC 460.6"
	}
	switch s.What {
	case "flywheel":
		p.Text = "see that nothing turns, at the shaft itself"
	case "raised load":
		p.Kind, p.Limit, p.Unit = recordv1.ReadingKind_READING_KIND_SIGHT, 0, ""
		p.Text = "see that the load is down, or rests on its block or pin with the drive let go"
	case "spring":
		p.Text = "see that the spring is slack, or held by its pin"
	case "vessel":
		// whatever the gas, the pressure shows whether any is left
		p.Kind, p.Limit, p.Unit, p.Source = recordv1.ReadingKind_READING_KIND_GAUGE, 0, "kPa", "29 CFR 1910.147(d)(5)(i), (d)(6)"
		p.Text = "read zero gauge pressure with the drain open, on a gauge that is seen to move"
	case "accumulator":
		p.Text = "read zero gauge pressure on the oil side with the bleed open; the gas side keeps its precharge"
	case "hot part":
		p.Text = "measure the surfaces people can touch"
	case "grain above":
		p.Text = "see that no grain is above, or that a closed and locked gate or blank holds it"
	}
	return p
}
