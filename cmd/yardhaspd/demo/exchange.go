package demo

import (
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// exchange has the co-op and the contractor's firm tell each other their procedures
// and hazards, for both yards of the job: 1910.147(f)(2) and 1910.272(i). Two people
// sign.
func exchange(s *story) {
	for _, yard := range []string{"stonebend", "millrow"} {
		if s.err != nil {
			return
		}
		what := "exchanged procedures and hazards of " + yard + " with Harrow Millwrights; Lena signed"
		d, err := s.who["nia-okoro"].NewDraft(&recordv1.Record{Act: &recordv1.Record_ExchangeProcedures{ExchangeProcedures: &recordv1.ExchangeProcedures{
			Yard: yard, Employer: "Harrow Millwrights", Contractor: "lena", HostProcedures: "lockout rules, version 4", OutsideProcedures: "Harrow lockout, version 2",
			DateUnixMs: time.Now().UnixMilli(), Hazards: []string{"grain dust in leg casings and pits: no open flame"}, Emergency: "meet at the scale house; it calls for help"}}})
		if !s.must(err, what) || !s.must(s.who["lena"].Countersign(d), what) {
			return
		}
		r, err := s.who["nia-okoro"].Send(s.ctx, d)
		if !s.must(err, what) {
			return
		}
		s.page.act(r.GetYard(), "nia-okoro", what, entry(r.GetOutcome().GetIndex()), statusWord(r.GetStatus()))
		s.expect(r.GetOutcome().GetAccepted() && len(r.GetOutcome().GetFlags()) == 0, "%s: %v", what, r.GetOutcome())
	}
}
