package yard

import "testing"

// TestRenew: an empty journal becomes the one of a later epoch and stays it; one
// with a record never does, whole or reopened, nor does a journal go back.
func TestRenew(t *testing.T) {
	dir := t.TempDir()
	h, records := journal(t, 1)
	late := h
	late.Epoch = 1
	f := mustCreate(t, dir, late)
	if err := f.Renew(4, 17); err != nil {
		t.Fatal(err)
	}
	for _, epoch := range []uint64{3, 4} {
		if err := f.Renew(epoch, 17); err == nil {
			t.Errorf("a journal of epoch 4 became one of epoch %d", epoch)
		}
	}
	if err := f.Append(records...); err == nil {
		t.Error("the journal of epoch 4 takes a record of epoch 1")
	}
	mustClose(t, f)
	f, got, err := Open(dir, Header{Yard: h.Yard, Incarnation: h.Incarnation})
	if err != nil {
		t.Fatal(err)
	}
	if head := f.Header(); head.Epoch != 4 || len(got) != 0 || head.Floor(got) != 17 {
		t.Errorf("reopened: epoch %d with %d records, resting on raft index %d, want 4, 0 and 17", head.Epoch, len(got), head.Floor(got))
	}
	mustClose(t, f)

	dir = t.TempDir()
	f = mustCreate(t, dir, h)
	mustAppend(t, f, records...)
	if err := f.Renew(2, 17); err == nil {
		t.Error("a journal with a record was begun anew")
	}
	mustClose(t, f)
	if f, got, err = Open(dir, h); err != nil || !same(records, got) {
		t.Fatalf("the record is gone: %v", err)
	}
	if err := f.Renew(2, 17); err == nil {
		t.Error("a reopened journal with a record was begun anew")
	}
	mustClose(t, f)
}
