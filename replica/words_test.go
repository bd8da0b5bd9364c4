package replica

import (
	"strings"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// Only a go-ahead at the panel is permission to close (protocol.md section 5), work
// starts only once isolation is verified (29 CFR 1910.147(d)(6)), and energy found
// stops it: the text of a confirmed record says so where it could be taken for more.
func TestNoteWords(t *testing.T) {
	flags := []*recordv1.Finding{{Text: "ben entered before work may start"}}
	for name, c := range map[string]struct {
		out  *recordv1.Outcome
		want string
	}{
		"a request":           {&recordv1.Outcome{Kind: "request", Changes: []string{"x"}}, "no permission to close"},
		"an energising":       {&recordv1.Outcome{Kind: "energise", Changes: []string{"x"}}, "no permission to close"},
		"a flagged sign-on":   {&recordv1.Outcome{Kind: "sign_on", Changes: []string{"x"}, Flags: flags}, "YOU MUST NOT BE THERE"},
		"a live reading":      {&recordv1.Outcome{Kind: "reading", Changes: []string{"FOUND LIVE at a/b"}}, "Get everybody out"},
		"a thing found live":  {&recordv1.Outcome{Kind: "found_live", Changes: []string{"FOUND LIVE at a/b"}}, "Get everybody out"},
		"one that is no more": {&recordv1.Outcome{Kind: "reading", Flags: flags}, "IT DOES NOT COUNT"},
	} {
		if got := noteWords(servicev1.Status_STATUS_CONFIRMED, "Eastfork", c.out); !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q in it", name, got, c.want)
		}
	}
	for _, kind := range []string{"sign_on", "reading", "shut_down"} {
		if got := noteWords(servicev1.Status_STATUS_CONFIRMED, "Eastfork", &recordv1.Outcome{Kind: kind, Changes: []string{"x"}}); !strings.HasSuffix(got, ".") || strings.Count(got, ".") != 1 {
			t.Errorf("a clean %s: %q", kind, got)
		}
	}
}
