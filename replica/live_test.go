package replica_test

import "testing"

// TestEnergyNow: with the points as the ledger has them, "open but not locked"
// stands apart from "locked", and one feed closed makes the zone live.
func TestEnergyNow(t *testing.T) {
	t.Parallel()
	c := three(t)
	c.drawn() // both points open, no lock
	now := func(want, point string) {
		t.Helper()
		v, err := c.as("nia", "eastfork").EnergyNow(c.ctx(), "stonebend")
		if err != nil {
			t.Fatal(err)
		}
		if !v.GetAsOf().GetConfirmed() || len(v.GetZones()) != 1 || v.GetCaution() == "" {
			t.Fatalf("zones %v, as of %v", v.GetZones(), v.GetAsOf())
		}
		z := v.GetZones()[0]
		found := point == ""
		for _, p := range z.GetPoints() {
			found = found || p == point
		}
		if z.GetCondition() != want || !found {
			t.Fatalf("%s with %v, want %q with %s", z.GetCondition(), z.GetPoints(), want, point)
		}
	}
	now("open but not locked", second)
	a := c.do("ravi", "stonebend", lockOn(feeder, "", "boot-1"))
	now("open but not locked", second)
	b := c.do("ravi", "millrow", lockOn(second, "", "boot-1"))
	now("locked", feeder)
	c.do("ravi", "millrow", actRelease(b.GetRef()))
	c.do("ravi", "stonebend", actRelease(a.GetRef()))
	c.cleared()
	c.do("nia", "stonebend", actRequest("start-1", "boot-1", 1e12, feeder))
	c.until("approval and go-ahead", func() bool {
		_, err := c.as("ravi", "stonebend").Submit(c.ctx(), actEnergise("start-1", feeder))
		return err == nil
	})
	now("live", feeder)
}
