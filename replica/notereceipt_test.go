package replica

import (
	"testing"

	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Only a go-ahead at the panel is permission to close (protocol.md section 5), work
// starts only once isolation is verified (29 CFR 1910.147(d)(6)), and energy found
// stops it: a confirmed record says so where it could be taken for more.
func TestNoteMeans(t *testing.T) {
	did := []*recordv1.Finding{{Code: "SOMETHING"}}
	live := []*recordv1.Finding{{Code: "SOMETHING"}, {Code: string(ledger.FoundLive)}}
	flags := []*recordv1.Finding{{Code: string(ledger.WorkMayNotStart)}}
	for name, c := range map[string]struct {
		out  *recordv1.Outcome
		want code.Code // the warning
	}{
		"a request":          {&recordv1.Outcome{Kind: "request", Did: did}, RequestIsNoLeave},
		"an energising":      {&recordv1.Outcome{Kind: "energise", Did: did}, EnergiseIsNoLeave},
		"a permit":           {&recordv1.Outcome{Kind: "issue_permit", Did: did}, PermitHoldsWhile},
		"a word of safety":   {&recordv1.Outcome{Kind: "stand_clear", Did: did}, NoProtectionNow},
		"a flagged sign-on":  {&recordv1.Outcome{Kind: "sign_on", Did: did, Flags: flags}, InsideAgainstRules},
		"a live reading":     {&recordv1.Outcome{Kind: "reading", Did: live}, GetOutNow},
		"a thing found live": {&recordv1.Outcome{Kind: "found_live", Did: live, Flags: flags}, GetOutNow},
		"a clean sign-on":    {&recordv1.Outcome{Kind: "sign_on", Did: did}, ""},
		"a clean reading":    {&recordv1.Outcome{Kind: "reading", Did: did}, ""},
		"a shutdown":         {&recordv1.Outcome{Kind: "shut_down", Did: did}, ""},
	} {
		f := noteMeans(servicev1.Status_STATUS_CONFIRMED, "eastfork", c.out)
		if err := code.Check(f); err != nil || !code.Is(f, Recorded) {
			t.Errorf("%s: %v, %v", name, f, err)
			continue
		}
		warnings := f.GetArgs()[1].GetFindings()
		if c.want == "" && len(warnings) > 0 || c.want != "" && (len(warnings) != 1 || !code.Is(warnings[0], c.want)) {
			t.Errorf("%s warns of %v, want %q", name, warnings, c.want)
		}
	}
	f := noteMeans(servicev1.Status_STATUS_CONFIRMED, "eastfork", &recordv1.Outcome{Kind: "reading", Flags: flags})
	if !code.Is(f, KeptWithoutEffect) || !code.Has(f.GetArgs()[1].GetFindings(), ledger.WorkMayNotStart) {
		t.Errorf("a record that changed nothing means %v", f)
	}
}
