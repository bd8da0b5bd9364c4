package cli

import (
	"strings"
	"testing"

	"yardhasp/ledger"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// What somebody could make live by closing a handle comes first, in words; a zone
// that simply runs is no alarm; and the screen is no permission.
func TestLive(t *testing.T) {
	got := screen(func(p *page) {
		p.live(&servicev1.GetEnergyNowResponse{AsOf: asOf(true), Zones: []*servicev1.ZoneNow{
			{Zone: "stonebend/fan", Condition: "live", Path: &servicev1.Path{Steps: []string{"stonebend/utility", "stonebend/fan"}}},
			{Zone: "stonebend/leg-boot", Condition: "open but not locked", Points: []string{"stonebend/mcc-1/leg"}, Path: &servicev1.Path{Steps: []string{"stonebend/utility", "breaker stonebend/mcc-1/leg", "stonebend/leg"}}},
			{Zone: "stonebend/bin-4", Condition: "locked", Points: []string{"stonebend/roof/cap"}},
		}})
	})
	at := func(s string) int {
		i := strings.Index(got, s)
		if i < 0 {
			t.Fatalf("the screen lacks %q:\n%s", s, got)
		}
		return i
	}
	if first := at("OPEN BUT NOT LOCKED: stonebend/leg-boot by stonebend/utility > breaker stonebend/mcc-1/leg > stonebend/leg"); first > at("zones") || first < at("as of") {
		t.Errorf("what anybody could make live doesn't come right after how it is known:\n%s", got)
	}
	if strings.Contains(got, "LIVE: stonebend/fan") {
		t.Errorf("a fan that runs is shouted:\n%s", got)
	}
	at("stonebend/roof/cap")
	at(ledger.Caution)
}
