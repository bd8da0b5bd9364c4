package story

import (
	"strings"
	"testing"
	"testing/fstest"
)

const whole = "story s\nrule r\n"

// TestBadLines: whoever writes a story is told the file, the line and what is wrong
// (common practice, no source).
func TestBadLines(t *testing.T) {
	for _, c := range []struct{ name, text, says string }{
		{"no rule", "story s\nlock ravi f -> ok", `s.story:1: the story "s" names no rule`},
		{"no rule before the next", "story s\nlock ravi f -> ok\nstory u\nrule r\nlock ravi f -> ok", `s.story:1: the story "s" names no rule`},
		{"two rules", "story s\nrule r\nrule r", "s.story:3: a rule stands once"},
		{"a rule of nothing", "rule r", "s.story:1: a rule stands once"},
		{"no name", "story\n", "s.story:1: a story has no name"},
		{"two of a name", whole + "lock ravi f -> ok\nstory s", `s.story:4: there is a story "s" already`},
		{"expects nothing", whole + "lock ravi f", "s.story:1: the story \"s\" expects nothing"},
		{"an act before the first story", "lock ravi f -> ok", "s.story:1: lock expects nothing"},
		{"a word before the first story", "lock ravi f", "s.story:1: write name NAME TEXT"},
		{"a name in a story", whole + "name a b", "s.story:3: name stands before"},
		{"a name twice", "name a b\nname a c", "s.story:2: a is a name already"},
		{"usual of no act", "usual lok job=b", "s.story:1: there is no act lok"},
		{"short of no act", "short tell notise when=after", "s.story:1: there is no act notise"},
		{"short of an act's own name", "short lock notice when=after", "s.story:1: there is an act lock already"},
		{"an open brace", whole + "lock ravi {a", "s.story:3: a brace is not closed"},
		{"an open brace in braces", whole + "lock ravi {a {b}", "s.story:3: a brace is not closed"},
		{"a closing brace", whole + "lock ravi }", "s.story:3: a value is missing"},
		{"an open quote", whole + `lock ravi "a -> ok`, "s.story:3: a quoted text is not closed"},
		{"no value", whole + "lock ravi job= -> ok", "s.story:3: a value is missing"},
		{"no value at the end", whole + "lock ravi job=", "s.story:3: a value is missing before the end"},
		{"a list that goes on", whole + "lock ravi a, -> ok", "s.story:3: a value is missing"},
		{"a key twice", whole + "lock ravi job=a job=b -> ok", "s.story:3: job is given twice"},
		{"a value after a key", whole + "lock ravi job=a f -> ok", `s.story:3: "f" comes after`},
		{"a key first", whole + "job=a -> ok", "s.story:3: a line begins with what is done"},
		{"nothing but an arrow", whole + "-> ok", "s.story:3: a line begins with what is done"},
		{"an empty arrow", whole + "lock ravi f ->", "s.story:3: nothing is expected"},
		{"refused for nothing", whole + "lock ravi f -> refused", "s.story:3: refused needs a code"},
		{"refused without a code alone", whole + "lock ravi f -> refused no LIVE", "s.story:3: refused needs a code"},
		{"flagged for nothing", whole + "lock ravi f -> flagged", "s.story:3: flagged needs a code"},
		{"ok with a code", whole + "lock ravi f -> ok LIVE", "s.story:3: ok has no codes"},
		{"two codes without a comma", whole + "work b -> NO_LOCK f NOT_TOLD", `s.story:3: "NOT_TOLD" follows`},
		{"a code that ends early", whole + "work b -> NO_LOCK, ", "s.story:3: a code is missing"},
		{"no what", whole + "work b -> no", "s.story:3: a code is missing"},
		{"a code in small letters", whole + "work b -> NO_LOCK, no_lock", `s.story:3: "no_lock" is no code`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := Parse("s.story", c.text); err == nil || !strings.HasPrefix(err.Error(), c.says) {
				t.Errorf("%q says %v, want %q", c.text, err, c.says)
			}
		})
	}
}

// TestLine: the parts of a line.
func TestLine(t *testing.T) {
	f, err := Parse("s.story", whole+`  lock ravi a/b/c,"x, y" {oxygen 1},{b={c=d}} job=-1 tag.only=yes as=h -> refused only A_B, no CD "d e" # why`)
	if err != nil {
		t.Fatal(err)
	}
	st := f.Stories[0].Steps[0]
	if st.verb != "lock" || len(st.args) != 3 || st.args[1].list[1].text != "x, y" || st.args[2].list[1].msg.fields[0].val.msg.fields[0].val.text != "d" {
		t.Errorf("values: %+v", st.args)
	}
	if len(st.fields) != 3 || st.fields[0].val.text != "-1" || st.fields[1].key != "tag.only" {
		t.Errorf("fields: %+v", st.fields)
	}
	if w := st.want; w.words != "refused" || !w.only || len(w.codes) != 2 || w.codes[0] != (wantCode{code: "A_B"}) || w.codes[1] != (wantCode{"CD", "d e", true}) {
		t.Errorf("expected: %+v", w)
	}
}

// TestRead: the files named first give names and usual values to the last.
func TestRead(t *testing.T) {
	dir := fstest.MapFS{"a.story": {Data: []byte("name a b")}, "b.story": {Data: []byte(whole + "lock ravi a -> ok")}, "c.story": {Data: []byte("name a c")}}
	f, err := Read(dir, "b.story", "a.story")
	if err != nil || f.names["a"] != "b" || len(f.Stories) != 1 {
		t.Errorf("%+v, %v", f, err)
	}
	if _, err := Read(dir, "c.story", "a.story"); err == nil || !strings.HasPrefix(err.Error(), "c.story:1: ") {
		t.Errorf("a name twice in two files: %v", err)
	}
	if _, err := Read(dir, "d.story"); err == nil {
		t.Error("a file that is not there is read")
	}
}

func FuzzParse(f *testing.F) {
	f.Add(whole + "lock ravi f job=b -> refused only A_B, no C d")
	f.Add("short tell notice when=after\nstory")
	f.Fuzz(func(t *testing.T, text string) {
		if _, err := Parse("s.story", text); err != nil && !strings.HasPrefix(err.Error(), "s.story:") {
			t.Errorf("%q: %v", text, err)
		}
	})
}
