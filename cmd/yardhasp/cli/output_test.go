package cli

import (
	"encoding/json"
	"testing"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// A program finds the code and the arguments of whatever the rules say, however deep
// it stands, and beside them the sentence that people read; the other fields stay as
// they are (proto/yardhasp/record/v1/finding.proto).
func TestJSONSaysFindings(t *testing.T) {
	inner := ledger.NoObserver.About("crust-3", "crust-3", "mia-berg")
	b := &recordv1.Board{Coop: "<co-op>", Jobs: []*recordv1.JobView{{Id: "j", ToStart: []*recordv1.Finding{ledger.PermitSuspended.About("p-1", "p-1", inner)}}}}
	raw, err := stableJSON(b)
	if err != nil {
		t.Fatal(err)
	}
	type finding struct {
		Code    string
		English struct{ Says, Remedy, Who, Next, Clause string }
		Args    []struct {
			Name     string
			Names    []string
			Findings []struct {
				Code    string
				English struct{ Says string }
			}
		}
	}
	var got struct {
		Coop string
		Jobs []struct {
			ToStart []finding `json:"to_start"`
		}
	}
	if err := json.Unmarshal(raw, &got); err != nil {
		t.Fatal(err)
	}
	f := got.Jobs[0].ToStart[0]
	if got.Coop != "<co-op>" || f.Code != string(ledger.PermitSuspended) || f.Args[0].Name != "permit" || f.Args[0].Names[0] != "p-1" {
		t.Errorf("not what was put in:\n%s", raw)
	}
	want := (&App{}).words()
	if e := f.English; e.Says != want.Says(b.Jobs[0].ToStart[0]) || e.Remedy == "" || e.Who == "" || e.Next != "yardhasp permit close p-1" || e.Clause == "" {
		t.Errorf("in English it is %+v", e)
	}
	if in := f.Args[1].Findings[0]; in.Code != string(ledger.NoObserver) || in.English.Says != want.Says(inner) {
		t.Errorf("the reason inside is %+v", in)
	}
}
