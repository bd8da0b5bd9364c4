package yard

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

// BenchmarkCutOffLock is P5 of performance.md: a lock captured and made durable,
// against one fdatasync of the same disk (BenchmarkOneSync).
func BenchmarkCutOffLock(b *testing.B) {
	w := newWorld(b)
	e := w.yards["eastfork"]
	f, err := Create(b.TempDir(), e.h)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	for b.Loop() {
		eff, err := capture(e.y, w.sign("wanda", lockAct(onPoint(leg))), w.now, "")
		if err != nil {
			b.Fatal(err)
		}
		if err := f.Append(eff.Append...); err != nil {
			b.Fatal(err)
		}
		e.y.Appended(eff.Reply.Seq)
	}
}

func BenchmarkOneSync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "f"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	buf := make([]byte, 500)
	if _, err := f.WriteAt(make([]byte, 1<<20), 0); err != nil {
		b.Fatal(err)
	}
	if err := f.Sync(); err != nil {
		b.Fatal(err)
	}
	at := int64(0)
	for b.Loop() {
		if _, err := f.WriteAt(buf, at); err != nil {
			b.Fatal(err)
		}
		if err := datasync(f); err != nil {
			b.Fatal(err)
		}
		at = (at + 500) % (1 << 19)
	}
}

// BenchmarkCapture is the pure part alone, with none and with ten thousand
// records that wait for the ledger (P10).
func BenchmarkCapture(b *testing.B) {
	for _, waiting := range []int{0, 10_000} {
		b.Run(fmt.Sprint(waiting), func(b *testing.B) {
			w := newWorld(b)
			e := w.yards["eastfork"]
			for range waiting {
				e.lock("wanda", onPoint(leg))
			}
			signed := make([][]byte, 500)
			for i := range signed {
				signed[i] = w.sign("wanda", lockAct(onPoint(leg)))
			}
			i := 0
			y := e.y.Clone()
			for b.Loop() {
				if i == len(signed) {
					b.StopTimer()
					i, y = 0, e.y.Clone()
					b.StartTimer()
				}
				if _, err := capture(y, signed[i], w.now, ""); err != nil {
					b.Fatal(err)
				}
				i++
			}
		})
	}
}
