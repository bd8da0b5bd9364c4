package code

import (
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

var (
	tried = New("TEST_TRIED", Row{Args: "person points until:time count:number note:text kind:word because:why", Clause: "a clause", Who: "{person}"})
	plain = New("TEST_PLAIN", Row{Args: "clause"})
)

func TestAbout(t *testing.T) {
	f := tried.About("x", "ravi", []string{"a/b/c", "a/b/d"}, int64(5), 3, "some words", "bin-entry", plain.About("y", "1.2(a)"))
	if err := Check(f); err != nil {
		t.Fatal(err)
	}
	if got := Names(f, "points"); len(got) != 2 || got[1] != "a/b/d" {
		t.Errorf("points are %v", got)
	}
	if ClauseOf(f) != "a clause" || ClauseOf(f.GetArgs()[6].GetFindings()[0]) != "1.2(a)" {
		t.Error("the clause is the row's, or that of the argument that takes its place")
	}
	if !Is(f, plain, tried) || Is(f, plain) || !Has([]*recordv1.Finding{f}, tried) {
		t.Error("a finding is known by its code")
	}
}

// TestCheckSeesMistakes: each way to give arguments that the row does not name.
func TestCheckSeesMistakes(t *testing.T) {
	for name, f := range map[string]*recordv1.Finding{
		"too few":        tried.About("x", "ravi"),
		"no row":         Code("TEST_NONE").About("x"),
		"a number":       tried.About("x", 3, []string{}, int64(5), 3, "w", "w", plain.About("y", "c")),
		"a name":         tried.About("x", "ravi", "p", "no time", 3, "w", "w", plain.About("y", "c")),
		"bad inside":     tried.About("x", "ravi", "p", int64(5), 3, "w", "w", plain.About("y")),
		"names for text": tried.About("x", "ravi", "p", int64(5), 3, []string{"w"}, "w", plain.About("y", "c")),
	} {
		if Check(f) == nil {
			t.Errorf("%s passes", name)
		}
	}
}
