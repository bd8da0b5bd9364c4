package replica_test

import (
	"testing"
	"time"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// BenchmarkCutOffScreen: what a person at a yard that is cut off waits for a board
// and for a lock's receipt, once the yard has long heard of no leader, against the
// same with the link up. -benchtime 10x.
func BenchmarkCutOffScreen(b *testing.B) {
	var wire links
	c := three(b, wired(&wire))
	c.twoPoints()
	l := c.raw("ravi", "millrow")
	screen := func(confirmed bool) (board, receipt float64) {
		from := time.Now()
		res, err := l.GetBoard(c.ctx(), &servicev1.GetBoardRequest{})
		if err != nil || res.GetBoard().GetAsOf().GetConfirmed() != confirmed {
			b.Fatalf("board: %v %v", res.GetBoard().GetAsOf(), err)
		}
		board = float64(time.Since(from).Microseconds()) / 1000
		signed := c.sign("ravi", lockOn(legOne, "", ""))
		from = time.Now()
		rec, err := l.Submit(c.ctx(), &servicev1.SubmitRequest{Signed: signed})
		want := servicev1.Status_STATUS_HELD_LOCALLY
		if confirmed {
			want = servicev1.Status_STATUS_CONFIRMED
		}
		if err != nil || rec.GetReceipt().GetStatus() != want {
			b.Fatalf("lock: %v %v", rec, err)
		}
		return board, float64(time.Since(from).Microseconds()) / 1000
	}
	var boards, receipts, up []float64
	for range 20 {
		x, _ := screen(true)
		up = append(up, x)
	}
	wire.cut("millrow")
	if err := c.up["millrow"].Leaderless(c.ctx()); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		x, y := screen(false)
		boards, receipts = append(boards, x), append(receipts, y)
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(up), "board-up-ms")
	b.ReportMetric(median(boards), "board-ms")
	b.ReportMetric(median(receipts), "receipt-ms")
}
