package ledger

import (
	"testing"
	"time"
)

// TestYearLater compares with package time of the standard library, day by day
// through leap years, century years and before 1970.
func TestYearLater(t *testing.T) {
	for d := time.Date(1896, 1, 1, 5, 6, 7, 8e6, time.UTC); d.Year() < 2405; d = d.AddDate(0, 0, 1) {
		want := d.AddDate(1, 0, 0)
		if d.Month() == time.February && d.Day() == 29 {
			want = d.AddDate(1, 0, -1)
		}
		if got := yearLater(d.UnixMilli()); got != want.UnixMilli() {
			t.Fatalf("a year after %s: %s, want %s", d, time.UnixMilli(got).UTC(), want)
		}
	}
}
