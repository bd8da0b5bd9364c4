package story

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// texts has a time of its own, and takes a text for the bytes that it stands for.
type texts struct{}

func (texts) Now() int64 { return 1000 }

func (texts) Bytes(kind, field, text string) ([]byte, error) {
	if text == "unknown" {
		return nil, fmt.Errorf("%s of %s: no such thing", field, kind)
	}
	return []byte(text), nil
}

func must(t *testing.T, text string) *File {
	t.Helper()
	f, err := Parse("s.story", text)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// sample is a value for a field, as a story writes it; all sets every one.
func sample(f protoreflect.FieldDescriptor) string {
	one := ""
	switch f.Kind() {
	case protoreflect.StringKind, protoreflect.BytesKind:
		one = "x/1/2"
	case protoreflect.BoolKind:
		one = "yes"
	case protoreflect.EnumKind:
		vs := f.Enum().Values()
		prefix := strings.TrimSuffix(string(vs.Get(0).Name()), "UNSPECIFIED")
		one = strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(vs.Get(vs.Len()-1).Name()), prefix), "_", "-"))
	case protoreflect.MessageKind:
		one = "{" + all(f.Message()) + "}"
	default:
		one = "7"
	}
	if f.IsList() {
		return one + "," + one
	}
	return one
}

func all(m protoreflect.MessageDescriptor) string {
	var out []string
	for i := range m.Fields().Len() {
		f := m.Fields().Get(i)
		if o := f.ContainingOneof(); o != nil && o.Fields().Get(0) != f {
			continue // one of several
		}
		out = append(out, keyOf(f)+"="+sample(f))
	}
	return strings.Join(out, " ")
}

// TestEveryKind: a line can say everything that an act of any kind can, so that a
// new kind needs no change here.
func TestEveryKind(t *testing.T) {
	f := must(t, "")
	for i := range acts.Len() {
		a := acts.Get(i)
		line := strings.ReplaceAll(string(a.Name()), "_", "-") + " " + all(a.Message())
		r, err := f.Record(texts{}, line)
		if err != nil {
			t.Errorf("%s\n\t%v", line, err)
			continue
		}
		m := r.ProtoReflect().Get(a).Message()
		for i := range a.Message().Fields().Len() {
			if x := a.Message().Fields().Get(i); x.ContainingOneof() == nil && !m.Has(x) {
				t.Errorf("%s: %s was not set", line, x.Name())
			}
			for _, beside := range []string{"at", "behind", "captured", "ago", "signed-by", "grant", "promised", "as", "keep"} {
				if keyOf(a.Message().Fields().Get(i)) == beside {
					t.Errorf("%s of %s can't be written: the key is taken", beside, a.Name())
				}
			}
		}
		again := &recordv1.Record{}
		if text, err := prototext.Marshal(r); err != nil || prototext.Unmarshal(text, again) != nil || !proto.Equal(r, again) {
			t.Errorf("%s: %v", a.Name(), err)
		}
	}
}

// TestOrder: values go into the fields in their order, names and usual values count.
func TestOrder(t *testing.T) {
	f := must(t, `
name feeder a/b/c
name two a/b/c,d/e/f
usual notice means="in person" people=dov
short tell notice when=after people=mara
`)
	for line, want := range map[string]string{
		"lock feeder p-1 job-1":                    `lock: {target: {point: "a/b/c"} padlock: "p-1" job: "job-1"}`,
		"lock feeder job=job-1":                    `lock: {target: {point: "a/b/c"} job: "job-1"}`,
		"lock yard/box":                            `lock: {target: {box: "yard/box"}}`,
		`lock a/b/c "two words"`:                   `lock: {target: {point: "a/b/c"} padlock: "two words"}`,
		`lock a/b/c "feeder"`:                      `lock: {target: {point: "a/b/c"} padlock: "feeder"}`,
		"release y/1/2":                            `release: {hold: {yard: "y" epoch: 1 seq: 2}}`,
		"notice j before":                          `notice: {job: "j" when: NOTICE_WHEN_BEFORE people: "dov" means: "in person"}`,
		"tell j":                                   `notice: {job: "j" when: NOTICE_WHEN_AFTER people: "mara" means: "in person"}`,
		"tell j people=lena,ravi":                  `notice: {job: "j" when: NOTICE_WHEN_AFTER people: "lena" people: "ravi" means: "in person"}`,
		"tell j people=none":                       `notice: {job: "j" when: NOTICE_WHEN_AFTER means: "in person"}`,
		"request r j two deadline=+1s":             `request: {id: "r" job: "j" points: "a/b/c" points: "d/e/f" deadline_unix_ms: 2000}`,
		"request r deadline=now":                   `request: {id: "r" deadline_unix_ms: 1000}`,
		"request r deadline=-1s":                   `request: {id: "r" deadline_unix_ms: 0}`,
		"request r deadline=+1d":                   `request: {id: "r" deadline_unix_ms: 86401000}`,
		"request r deadline=5":                     `request: {id: "r" deadline_unix_ms: 5}`,
		"lock a/b/c tag={do-not-open}":             `lock: {target: {point: "a/b/c"} tag: {legend: LEGEND_DO_NOT_OPEN}}`,
		"lock a/b/c tag.only=yes":                  `lock: {target: {point: "a/b/c"} tag: {only: true}}`,
		"hand-over pairs={y/1/2 y/1/3}":            `hand_over: {pairs: {off: {yard: "y" epoch: 1 seq: 2} on: {yard: "y" epoch: 1 seq: 3}}}`,
		"issue-permit i j hot-work={at}":           `issue_permit: {id: "i" job: "j" hot_work: {place: "at"}}`,
		"replace-key key=k":                        `replace_key: {key: "k"}`,
		"reading j p electricity meter value=-0.5": `reading: {job: "j" part: "p" medium: MEDIUM_ELECTRICITY kind: READING_KIND_METER value: -0.5}`,
	} {
		got, err := f.Record(texts{}, line)
		w := &recordv1.Record{}
		if err := prototext.Unmarshal([]byte(want), w); err != nil {
			t.Fatal(want, err)
		}
		if err != nil || !proto.Equal(got, w) {
			t.Errorf("%s\n\tis %v, %v\n\twant %v", line, got, err, w)
		}
	}
}

// TestBadValues: what an act can't say is told with the field.
func TestBadValues(t *testing.T) {
	f := must(t, "")
	for line, says := range map[string]string{
		"lok a/b/c":                      "there is no act lok",
		"lock a/b/c serial=1":            "Lock has no serial",
		"lock a":                         `target: "a" is no point`,
		"lock a/b/c p j yes 1 {} more":   `Lock takes no value "more"`,
		"lock a/b/c tag=x":               "tag: write the Tag in braces",
		"lock a/b/c tag.x=yes":           "Tag has no x",
		"lock a/b/c job.x=yes":           "job of Lock has no fields",
		"lock a/b/c job={x}":             "job is no message",
		"lock a/b/c job=a,b":             "job takes one value",
		"lock a/b/c equipment=maybe":     `equipment: "maybe" is no yes or no`,
		"lock a/b/c review=soon":         `"soon" is no time`,
		"lock a/b/c review=+soon":        `"+soon" is no time`,
		"release h":                      `hold: "h" is no record that was named`,
		"release y/1/-2":                 `hold: "y/1/-2" is no record`,
		"notice j sometime":              `when: "sometime" is no NoticeWhen`,
		"notice j notice-when-after":     `when: "notice-when-after" is no NoticeWhen`,
		"register-point p many":          `holes: "many" is no number`,
		"register-point p 5000000000":    `holes: "5000000000" is no number`,
		"reading j p value=high":         `value: "high" is no number`,
		"replace-key key=unknown":        "key: key of replace_key: no such thing",
		"lock a/b/c -> ok":               "an act that stands alone expects nothing",
		"lock a/b/c job=":                "a value is missing",
		"issue-permit i j 5 hot-work=at": "hot-work: write the HotWork in braces",
	} {
		if _, err := f.Record(texts{}, line); err == nil || !strings.HasPrefix(strings.TrimPrefix(err.Error(), "an act: "), says) {
			t.Errorf("%s says %v, want %q", line, err, says)
		}
	}
}

// FuzzRecord: no line, whatever stands in it, makes the reader fall over.
func FuzzRecord(f *testing.F) {
	for i := range acts.Len() {
		f.Add(strings.ReplaceAll(string(acts.Get(i).Name()), "_", "-") + " " + all(acts.Get(i).Message()))
	}
	file := &File{names: map[string]string{"n": "a/b/c,d"}}
	f.Fuzz(func(t *testing.T, line string) {
		r, err := file.Record(texts{}, line)
		if (r == nil) == (err == nil) {
			t.Errorf("%q gives %v, %v", line, r, err)
		}
		if err != nil && slices.Contains([]string{"", "an act: "}, err.Error()) {
			t.Errorf("%q says nothing of what is wrong", line)
		}
	})
}
