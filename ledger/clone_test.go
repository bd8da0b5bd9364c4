package ledger

import (
	"bytes"
	"fmt"
	"reflect"
	"testing"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// fill sets everything below v that JSON writes to something that is not zero,
// so that a field which a copy forgets shows.
func fill(v reflect.Value, n *int) {
	*n++
	switch v.Kind() {
	case reflect.Pointer:
		if v.Type() == reflect.TypeFor[*recordv1.Finding]() {
			v.Set(reflect.ValueOf(&recordv1.Finding{Code: fmt.Sprint("CODE", *n)}))
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fill(v.Field(i), n)
			}
		}
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		for range 2 {
			key, val := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
			fill(key, n)
			fill(val, n)
			v.SetMapIndex(key, val)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fill(v.Index(0), n)
		fill(v.Index(1), n)
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i), n)
		}
	case reflect.String:
		v.SetString(fmt.Sprint("s", *n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int32, reflect.Int64:
		v.SetInt(int64(*n))
	case reflect.Uint8, reflect.Uint32, reflect.Uint64:
		v.SetUint(uint64(*n % 200))
	default:
		panic("fill: a field of kind " + v.Kind().String())
	}
}

// shared names every map, list or pointer that two values have in common. The
// tree is left out: its hashes are arrays behind one slice, checked beside it.
func shared(path string, a, b reflect.Value, out *[]string) {
	if a.Kind() != b.Kind() {
		return
	}
	switch a.Kind() {
	case reflect.Pointer:
		if a.IsNil() || a.Type() == reflect.TypeFor[*recordv1.Finding]() {
			return
		}
		if a.Pointer() == b.Pointer() {
			*out = append(*out, path)
			return
		}
		shared(path, a.Elem(), b.Elem(), out)
	case reflect.Struct:
		for i := range a.NumField() {
			switch f := a.Type().Field(i).Name; f {
			case "graph", "places": // never changed after they were built
			case "verdicts", "proofs", "stores": // only replaced, job by job
				if a.Field(i).Len() > 0 && a.Field(i).Pointer() == b.Field(i).Pointer() {
					*out = append(*out, path+"."+f)
				}
			default:
				shared(path+"."+f, a.Field(i), b.Field(i), out)
			}
		}
	case reflect.Map:
		if a.IsNil() {
			return
		}
		if a.Pointer() == b.Pointer() {
			*out = append(*out, path)
			return
		}
		for _, k := range a.MapKeys() {
			if bv := b.MapIndex(k); bv.IsValid() {
				shared(fmt.Sprintf("%s[%v]", path, k), a.MapIndex(k), bv, out)
			}
		}
	case reflect.Slice:
		if a.Len() == 0 || b.Len() == 0 {
			return
		}
		if a.Pointer() == b.Pointer() {
			*out = append(*out, path)
			return
		}
		for i := range min(a.Len(), b.Len()) {
			shared(fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i), out)
		}
	}
}

// TestCloneLeavesNothingOut: every field, one that a later release adds included,
// is in the copy as the written form has it, and nothing that changes is shared.
func TestCloneLeavesNothingOut(t *testing.T) {
	s, n := New(), 0
	fill(reflect.ValueOf(s).Elem(), &n)
	s.Tree.Size = 3 // two hashes
	for ref, h := range s.Holds {
		s.active[ref] = h
	}
	for ref, so := range s.SignOns {
		s.inside[ref] = so
	}
	c := s.Clone()
	if !reflect.DeepEqual(s, c) {
		t.Error("the copy differs from the original")
	}
	if !bytes.Equal(s.AppendCanonical(nil), c.AppendCanonical(nil)) {
		t.Error("the copy is written differently")
	}
	var out []string
	shared("State", reflect.ValueOf(s).Elem(), reflect.ValueOf(c).Elem(), &out)
	for _, p := range out {
		t.Errorf("the copy shares %s with the original", p)
	}
	for ref, h := range c.active {
		if h != c.Holds[ref] || h == s.Holds[ref] {
			t.Errorf("the active hold %s of the copy is not the copy's hold", ref)
		}
	}
	for ref, so := range c.inside {
		if so != c.SignOns[ref] || so == s.SignOns[ref] {
			t.Errorf("the person %s inside in the copy is not the copy's", ref)
		}
	}
}
