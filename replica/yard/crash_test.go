package yard

import (
	"bytes"
	"errors"
	"testing"
)

// Every moment at which the power may fail while a third record is written: the
// journal's bytes up to some length, with every earlier tail mark and a torn one.
func TestCrashAtEveryWrite(t *testing.T) {
	h, rs := journal(t, 3)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	stages := []image{snap(t, dir)}
	ends := []int{int(f.end)}
	for _, r := range rs {
		mustAppend(t, f, r)
		stages = append(stages, snap(t, dir))
		ends = append(ends, int(f.end))
	}
	mustClose(t, f)
	whole := stages[3].journal
	for acked := range 3 { // acked records, the next one being written
		for n := ends[acked]; n <= ends[acked+1]; n++ {
			tails := [][]byte{stages[acked].tail}
			if n == ends[acked+1] { // the journal was synced: now the mark is being written
				next := stages[acked+1].tail
				for cut := 0; cut <= slotBytes; cut += 4 {
					torn := bytes.Clone(stages[acked].tail)
					for _, base := range []int{0, slotStep} {
						copy(torn[base:base+cut], next[base:base+cut])
					}
					tails = append(tails, torn)
				}
			}
			for _, tail := range tails {
				for _, length := range []int{n, len(whole)} {
					j := make([]byte, length)
					copy(j, whole[:n])
					got, err := image{j, tail}.open(t, dir)
					if err != nil {
						t.Fatalf("%d acknowledged, %d bytes: %v", acked, n, err)
					}
					if len(got) < acked || !same(got, rs[:len(got)]) || len(got) > acked+1 {
						t.Fatalf("%d acknowledged, %d bytes: %d records", acked, n, len(got))
					}
					if len(got) == acked+1 && n < ends[acked+1]-1 {
						t.Fatalf("%d acknowledged: a torn record came back", acked)
					}
				}
			}
		}
	}
}

// What was cut off leaves nothing behind, and a kept record is acknowledged from
// then on.
func TestAfterACrashItGoesOn(t *testing.T) {
	h, rs := journal(t, 4)
	dir := t.TempDir()
	f := mustCreate(t, dir, h)
	mustAppend(t, f, rs[0])
	one := snap(t, dir)
	mustAppend(t, f, rs[1:]...)
	mustClose(t, f)
	four := snap(t, dir)
	torn := bytes.Clone(four.journal)
	torn[len(one.journal)-1] ^= 1 // somewhere in records 2 to 4
	image{torn, one.tail}.put(t, dir)
	f, got, err := open(dir, h, small)
	if err != nil || len(got) >= 4 {
		t.Fatalf("%d records, %v", len(got), err)
	}
	if left := snap(t, dir).journal[f.end:]; len(bytes.Trim(left, "\x00")) > 0 {
		t.Error("the torn bytes are still there")
	}
	for _, r := range rs[len(got):] {
		mustAppend(t, f, r)
	}
	mustClose(t, f)
	if got, err := snap(t, dir).open(t, dir); err != nil || !same(got, rs) {
		t.Fatalf("%d records, %v", len(got), err)
	}
	// Whole records beyond the mark are kept, and may be forwarded: losing one
	// after that is noticed.
	if got, err := (image{four.journal, one.tail}).open(t, dir); err != nil || !same(got, rs) {
		t.Fatalf("%d records, %v", len(got), err)
	}
	var short *ShortenedError
	if _, err := (image{one.journal, snap(t, dir).tail}).open(t, dir); !errors.As(err, &short) {
		t.Errorf("a kept record was lost in silence: %v", err)
	}
}
