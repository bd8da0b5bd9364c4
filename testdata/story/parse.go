package story

import (
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"unicode"
)

// Read reads files of one folder: first the files in before, then file. It returns the
// stories of file.
func Read(dir fs.FS, file string, before ...string) (*File, error) {
	f := &File{names: map[string]string{}, usual: map[string][]field{}, short: map[string]shortAct{}}
	for _, name := range append(before, file) {
		text, err := fs.ReadFile(dir, name)
		if err != nil {
			return nil, err
		}
		if err := f.parse(path.Base(name), string(text)); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// Parse reads one file from its text. Each error begins with the file and the line.
func Parse(name, text string) (*File, error) {
	f := &File{names: map[string]string{}, usual: map[string][]field{}, short: map[string]shortAct{}}
	return f, f.parse(name, text)
}

func (f *File) parse(name, text string) error {
	began := len(f.Stories)
	for i, line := range strings.Split(text, "\n") {
		place := fmt.Sprintf("%s:%d", name, i+1)
		head, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		rest = strings.TrimSpace(rest)
		if head == "" || strings.HasPrefix(head, "#") {
			continue
		}
		var s *Story
		if len(f.Stories) > began {
			s = &f.Stories[len(f.Stories)-1]
		}
		switch head {
		case "story":
			if rest == "" {
				return fault(place, "a story has no name: say what it shows")
			}
			if slices.ContainsFunc(f.Stories, func(s Story) bool { return s.Name == rest }) {
				return fault(place, "there is a story %q already: give it another name", rest)
			}
			if s != nil {
				if err := s.whole(); err != nil {
					return err
				}
			}
			f.Stories = append(f.Stories, Story{Name: rest, Place: place, file: f})
			continue
		case "rule":
			if s == nil || rest == "" || s.Rule != "" {
				return fault(place, "a rule stands once in a story, with its clause, decision or source")
			}
			s.Rule = rest
			continue
		}
		st, err := parseLine(place, line)
		if err != nil {
			return err
		}
		if s != nil && !slices.Contains([]string{"name", "usual", "short"}, head) {
			s.Steps = append(s.Steps, st)
			continue
		}
		if err := f.define(st, s != nil); err != nil {
			return err
		}
	}
	if len(f.Stories) > began {
		return f.Stories[len(f.Stories)-1].whole()
	}
	return nil
}

func (s *Story) whole() error {
	if s.Rule == "" {
		return fault(s.Place, "the story %q names no rule: add a line rule with the clause, decision or source", s.Name)
	}
	if !slices.ContainsFunc(s.Steps, func(st Step) bool { return st.want != nil }) {
		return fault(s.Place, "the story %q expects nothing: end a line with -> and what is expected", s.Name)
	}
	return nil
}

// define takes a line that must come before the stories.
func (f *File) define(st Step, inStory bool) error {
	var words []string
	for _, a := range st.args {
		var each []string
		for _, v := range append(a.list, a) {
			if v.msg != nil {
				return fault(st.Place, "%s takes no message in braces", st.verb)
			}
			if v.list == nil {
				each = append(each, v.text)
			}
		}
		words = append(words, strings.Join(each, ","))
	}
	switch {
	case inStory:
		return fault(st.Place, "%s stands before the first story", st.verb)
	case st.want != nil:
		return fault(st.Place, "%s expects nothing", st.verb)
	case st.verb == "name" && len(words) == 2 && len(st.fields) == 0:
		if f.names[words[0]] != "" {
			return fault(st.Place, "%s is a name already", words[0])
		}
		f.names[words[0]] = words[1]
	case st.verb == "usual" && len(words) == 1 && len(st.fields) > 0:
		f.usual[kindOf(words[0])] = st.fields
	case st.verb == "short" && len(words) == 2 && len(st.fields) > 0:
		if _, ok := f.short[words[0]]; ok || act(kindOf(words[0])) != nil {
			return fault(st.Place, "there is an act %s already", words[0])
		}
		f.short[words[0]] = shortAct{kindOf(words[1]), st.fields}
	default:
		return fault(st.Place, "write name NAME TEXT, usual ACT KEY=VALUE, short NAME ACT KEY=VALUE, or begin a story")
	}
	for _, w := range words {
		if st.verb == "usual" && act(kindOf(w)) == nil || st.verb == "short" && act(kindOf(words[1])) == nil {
			return fault(st.Place, "there is no act %s", words[len(words)-1])
		}
	}
	return nil
}

func kindOf(verb string) string { return strings.ReplaceAll(verb, "-", "_") }

// scanner reads through one line.
type scanner struct {
	place string
	rest  []rune
}

func parseLine(place, line string) (Step, error) {
	sc := &scanner{place, []rune(line)}
	st := Step{Place: place, Text: strings.TrimSpace(line)}
	m, err := sc.message(0)
	if err != nil {
		return st, err
	}
	if len(m.args) == 0 || m.args[0].quoted || m.args[0].text == "" {
		return st, fault(place, "a line begins with what is done")
	}
	st.verb, st.args, st.fields = m.args[0].text, m.args[1:], m.fields
	if sc.arrow() {
		st.want, err = sc.want()
	}
	return st, err
}

func (sc *scanner) space() {
	for len(sc.rest) > 0 && unicode.IsSpace(sc.rest[0]) {
		sc.rest = sc.rest[1:]
	}
	if len(sc.rest) > 0 && sc.rest[0] == '#' {
		sc.rest = nil
	}
}

func (sc *scanner) at(r rune) bool { return len(sc.rest) > 0 && sc.rest[0] == r }

func (sc *scanner) arrow() bool {
	if len(sc.rest) > 1 && sc.rest[0] == '-' && sc.rest[1] == '>' {
		sc.rest = sc.rest[2:]
		return true
	}
	return false
}

// message reads values and fields, inside braces up to the closing brace.
func (sc *scanner) message(depth int) (*message, error) {
	m := &message{}
	for {
		sc.space()
		switch {
		case len(sc.rest) == 0 && depth > 0:
			return nil, fault(sc.place, "a brace is not closed")
		case len(sc.rest) == 0:
			return m, nil
		case sc.at('}') && depth > 0:
			sc.rest = sc.rest[1:]
			return m, nil
		case depth == 0 && len(sc.rest) > 1 && sc.rest[0] == '-' && sc.rest[1] == '>':
			return m, nil
		}
		key := sc.key()
		v, err := sc.value(depth)
		if err != nil {
			return nil, err
		}
		switch {
		case key == "" && len(m.fields) > 0:
			return nil, fault(sc.place, "%q comes after a key=value: values without a key stand first", v.text)
		case key == "":
			m.args = append(m.args, v)
		default:
			if slices.ContainsFunc(m.fields, func(f field) bool { return f.key == key }) {
				return nil, fault(sc.place, "%s is given twice", key)
			}
			m.fields = append(m.fields, field{key, v})
		}
	}
}

// key reads the key of a key=value, "" when there is no key here.
func (sc *scanner) key() string {
	i := 0
	for i < len(sc.rest) && (unicode.IsLower(sc.rest[i]) || i > 0 && (unicode.IsDigit(sc.rest[i]) || strings.ContainsRune("-.", sc.rest[i]))) {
		i++
	}
	if i == 0 || i == len(sc.rest) || sc.rest[i] != '=' {
		return ""
	}
	k := string(sc.rest[:i])
	sc.rest = sc.rest[i+1:]
	return k
}

func (sc *scanner) value(depth int) (value, error) {
	v, err := sc.item(depth)
	if err != nil || !sc.at(',') {
		return v, err
	}
	l := value{list: []value{v}}
	for sc.at(',') {
		sc.rest = sc.rest[1:]
		v, err := sc.item(depth)
		if err != nil {
			return v, err
		}
		l.list = append(l.list, v)
	}
	return l, nil
}

func (sc *scanner) item(depth int) (value, error) {
	switch {
	case sc.at('{'):
		sc.rest = sc.rest[1:]
		m, err := sc.message(depth + 1)
		return value{msg: m}, err
	case sc.at('"'):
		i := slices.Index(sc.rest[1:], '"')
		if i < 0 {
			return value{}, fault(sc.place, "a quoted text is not closed")
		}
		t := string(sc.rest[1 : i+1])
		sc.rest = sc.rest[i+2:]
		return value{text: t, quoted: true}, nil
	}
	i := 0
	for i < len(sc.rest) && !unicode.IsSpace(sc.rest[i]) && !strings.ContainsRune(`,{}"=`, sc.rest[i]) {
		i++
	}
	if i == 0 {
		at := "the end of the line"
		if len(sc.rest) > 0 {
			at = fmt.Sprintf("%q", string(sc.rest[0]))
		}
		return value{}, fault(sc.place, "a value is missing before %s", at)
	}
	t := string(sc.rest[:i])
	sc.rest = sc.rest[i:]
	return value{text: t}, nil
}

// want reads what comes after the arrow.
func (sc *scanner) want() (*want, error) {
	w := &want{}
	var words []string
	for first := true; ; first = false {
		sc.space()
		not := false
		var c *wantCode
		for len(sc.rest) > 0 && !sc.at(',') {
			v, err := sc.item(0)
			if err != nil {
				return nil, err
			}
			switch {
			case c != nil && c.subject == "":
				c.subject = v.text
			case c != nil:
				return nil, fault(sc.place, "%q follows a code and its subject: put a comma between codes", v.text)
			case !v.quoted && isCode(v.text):
				c = &wantCode{code: v.text, not: not}
			case v.text == "no" && !not:
				not = true
			case v.text == "only" && first && !w.only:
				w.only = true
			case first && !not && !w.only:
				words = append(words, v.text)
			default:
				return nil, fault(sc.place, "%q is no code: codes are in capitals", v.text)
			}
			sc.space()
		}
		switch {
		case c != nil:
			w.codes = append(w.codes, *c)
		case not, !first:
			return nil, fault(sc.place, "a code is missing")
		}
		if !sc.at(',') {
			break
		}
		sc.rest = sc.rest[1:]
	}
	w.words = strings.Join(words, " ")
	switch {
	case w.words == "" && len(w.codes) == 0:
		return nil, fault(sc.place, "nothing is expected after ->")
	case (w.words == "refused" || w.words == "flagged") && !slices.ContainsFunc(w.codes, func(c wantCode) bool { return !c.not }):
		return nil, fault(sc.place, "%s needs a code", w.words)
	case w.words == "ok" && slices.ContainsFunc(w.codes, func(c wantCode) bool { return !c.not }):
		return nil, fault(sc.place, "ok has no codes: write flagged")
	}
	return w, nil
}

func isCode(s string) bool {
	for i, r := range s {
		if !unicode.IsUpper(r) && (i == 0 || r != '_' && !unicode.IsDigit(r)) {
			return false
		}
	}
	return len(s) > 1
}
