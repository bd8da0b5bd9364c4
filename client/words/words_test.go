package words_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"yardhasp/client/words"
	_ "yardhasp/ledger" // its codes
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var named = regexp.MustCompile(`\{([a-z_]+)\}`)

// TestEveryCodeHasWords: each code says something, with arguments that its row names.
func TestEveryCodeHasWords(t *testing.T) {
	w := words.English
	for _, c := range code.Codes() {
		if c == sample {
			continue
		}
		s, ok := w.Codes[c]
		if !ok || s.Says == "" {
			t.Errorf("%s has no words", c)
			continue
		}
		r, _ := c.Row()
		params := append(r.Params(), "subject")
		for _, text := range []string{s.Says, s.Remedy, r.Next, r.Who} {
			for _, m := range named.FindAllStringSubmatch(text, -1) {
				if !slices.Contains(params, m[1]) {
					t.Errorf("%s: {%s} is no argument of its row %q: %q", c, m[1], r.Args, text)
				}
			}
		}
		if r.Who != "" && !strings.HasPrefix(r.Who, "{") && w.Words[r.Who] == "" {
			t.Errorf("%s: there is no word for who supplies it, %q", c, r.Who)
		}
	}
}

var sample = code.New("WORDS_SAMPLE", code.Row{Args: "holder points at:time left:number seen:text kind:word because:why", Who: "{holder}", Next: "yardhasp release {points} --of {holder}"})

func TestSays(t *testing.T) {
	w := *words.English
	w.Codes = map[code.Code]words.Sentence{sample: {Says: "{holder} on {points}[, seen {seen}][ at {at}]: {left}; {kind}; {subject}[: {because}]"}}
	w.Words = map[string]string{"a-kind": "some kind"}
	w.When = func(ms int64) string { return "noon" }
	for _, c := range []struct {
		f    *recordv1.Finding
		want string
	}{
		{sample.About("s", "ravi", []string{"a", "b"}, int64(1), 2, "tag", "a-kind", sample.About("t", "", "c", 0, 0, "", "other", nil)),
			"ravi on a, b, seen tag at noon: 2; some kind; s: " + w.Nobody["holder"] + " on c: 0; other; t"},
		{&recordv1.Finding{Code: "NOT_OF_THIS_RELEASE", Subject: "x", Args: []*recordv1.Arg{{Name: "n", Kind: recordv1.ArgKind_ARG_KIND_NUMBER, Number: 3}}}, "NOT_OF_THIS_RELEASE x n=3"},
	} {
		if got := w.Says(c.f); got != c.want {
			t.Errorf("says %q, want %q", got, c.want)
		}
	}
	f := sample.About("s", "", []string{"a/b/c"}, 0, 0, "", "", nil)
	if got, want := w.Next(f), "yardhasp release a/b/c --of HOLDER"; got != want {
		t.Errorf("the next command is %q, want %q", got, want)
	}
}
