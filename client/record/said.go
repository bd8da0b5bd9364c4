package record

import (
	"encoding/json"

	"google.golang.org/protobuf/encoding/protojson"

	"yardhasp/client/words"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Said is one thing that the rules said of an entry: in JSON its code with arguments, for
// programs, and beside it the sentence, for people.
type Said struct{ Finding *recordv1.Finding }

// String is the sentence, with its clause.
func (s Said) String() string { return words.English.WithClause(s.Finding) }

func (s Said) MarshalJSON() ([]byte, error) {
	finding, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(s.Finding)
	if err != nil {
		return nil, err
	}
	return json.Marshal(struct {
		Finding json.RawMessage `json:"finding"`
		English string          `json:"english"`
	}{finding, s.String()})
}

func saidOf(fs []*recordv1.Finding) []Said {
	out := []Said{}
	for _, f := range fs {
		out = append(out, Said{f})
	}
	return out
}

// Sentences are several of them in words.
func Sentences(all []Said) (out []string) {
	for _, s := range all {
		out = append(out, s.String())
	}
	return out
}

func codesOf(lists ...[]Said) (out []string) {
	for _, all := range lists {
		for _, s := range all {
			out = append(out, s.Finding.GetCode())
		}
	}
	return out
}
