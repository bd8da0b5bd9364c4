package ledger_test

import (
	"bytes"
	"reflect"
	"testing"

	"yardhasp/ledger"
)

// TestCloneGoesOnAlike: a whole job, from founding to a request, applied to a new
// copy at every entry, gives what the written form read back gives, and no copy
// changes once another was made of it.
func TestCloneGoesOnAlike(t *testing.T) {
	w := released(t)
	var copies []*ledger.State
	var written [][]byte
	s := ledger.New()
	for i, raw := range w.entries {
		e, err := ledger.Decode(raw)
		if err != nil {
			t.Fatal(err)
		}
		restored, err := ledger.Restore(s.AppendCanonical(nil))
		if err != nil {
			t.Fatal(err)
		}
		copies, written = append(copies, s), append(written, s.AppendCanonical(nil))
		s = s.Clone()
		if a, b := s.Apply(e), restored.Apply(e); !reflect.DeepEqual(a.GetConditions(), b.GetConditions()) || !reflect.DeepEqual(a.GetFlags(), b.GetFlags()) {
			t.Fatalf("entry %d: the copy says %v, the restored state %v", i, a, b)
		}
		if !bytes.Equal(s.AppendCanonical(nil), restored.AppendCanonical(nil)) {
			t.Fatalf("entry %d: the copy went on differently from the restored state", i)
		}
	}
	if !bytes.Equal(s.AppendCanonical(nil), w.s.AppendCanonical(nil)) {
		t.Error("copy after copy gives another state than no copy")
	}
	for i, c := range copies {
		if !bytes.Equal(c.AppendCanonical(nil), written[i]) {
			t.Errorf("the state before entry %d changed after a copy was made of it", i)
		}
	}
}
