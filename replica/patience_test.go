package replica

import (
	"testing"
	"time"
)

// A read waits long enough for an election: raft's followers start one after one to
// two election times of silence and may need a second round (hashicorp/raft,
// Config.ElectionTimeout). It waits less only once that long has passed in vain.
func TestPatience(t *testing.T) {
	t.Parallel()
	const election = 5 * time.Second
	for _, k := range []struct{ leaderless, want time.Duration }{
		{0, 20 * time.Second}, {time.Second, 20 * time.Second}, {20*time.Second - 1, 20 * time.Second},
		{20 * time.Second, 2500 * time.Millisecond}, {24 * time.Hour, 2500 * time.Millisecond},
	} {
		if got := patience(election, k.leaderless); got != k.want {
			t.Errorf("without a leader for %s: a read waits %s, want %s", k.leaderless, got, k.want)
		}
	}
}
