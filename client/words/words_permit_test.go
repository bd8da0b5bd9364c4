package words_test

import (
	"bytes"
	"encoding/json"
	"os"
	"slices"
	"strings"
	"testing"

	"yardhasp/client/words"
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// TestPermitWords: every value of the contract that a finding about permits, air or
// watches names has a word.
func TestPermitWords(t *testing.T) {
	var keys []string
	for v := range recordv1.AirAgent_name {
		if l, ok := ledger.AirLimitOf(recordv1.AirAgent(v)); ok {
			keys = append(keys, l.Name, l.Unit)
		} else if v != 0 {
			t.Errorf("%v has no limit", recordv1.AirAgent(v))
		}
	}
	for v := range recordv1.AirLevel_name {
		if v != 0 {
			keys = append(keys, ledger.LevelWord(recordv1.AirLevel(v)))
		}
	}
	for v := range recordv1.PermitKind_name {
		if v != 0 {
			keys = append(keys, ledger.PermitWord(recordv1.PermitKind(v)))
		}
	}
	for v := range recordv1.PermitState_name {
		if v != 0 {
			keys = append(keys, ledger.PermitStateWord(recordv1.PermitState(v)))
		}
	}
	for v := range recordv1.Duty_name {
		if v != 0 {
			keys = append(keys, ledger.DutyWord(recordv1.Duty(v)))
		}
	}
	for _, k := range keys {
		if words.English.Words[k] == "" {
			t.Errorf("there is no word for %q", k)
		}
	}
}

// TestPermitAlarms: the first words tell what to do, and the people are named.
func TestPermitAlarms(t *testing.T) {
	suspended, people := "permit-suspended", []string{"lena", "tomas"}
	why := ledger.NoObserver.About("crust-3", "crust-3", "mara")
	for _, c := range []struct {
		f    *recordv1.Finding
		want []string // the first begins it
	}{
		{ledger.EverybodyOut.About("in-1", "in-1", "eastfork/bin-3", suspended, why, people), []string{"EVERYBODY OUT of eastfork/bin-3", "in-1 is SUSPENDED: nobody", "lena, tomas"}},
		{ledger.DoNotEnter.About("in-1", "in-1", "eastfork/bin-3", suspended, why, people), []string{"DO NOT ENTER eastfork/bin-3", "SUSPENDED: nobody", "lena, tomas"}},
		{ledger.HotWorkStopped.About("weld-1", "weld-1", "stonebend/leg", suspended, why, people), []string{"STOP THE HOT WORK at stonebend/leg", "SUSPENDED: nobody", "lena, tomas"}},
		{ledger.NoFireWatchAfter.About("weld-1", "weld-1", "boot-1", "stonebend/leg", 12), []string{"NO FIRE WATCH at stonebend/leg", "12 minutes"}},
		{ledger.Fumigated.About("eastfork/bin-4", "eastfork/bin-4", "eastfork/1/7", "dov", ""), []string{"eastfork/bin-4 is under a fumigant", "eastfork/1/7", "dov", "NOBODY GOES IN"}},
		{ledger.AirOutOfLimits.About("z", "crust-3", "eastfork/bin-3", "bottom", "oxygen", "19.4", "19.5", "23.5", "%", "c"), []string{"AIR OUT OF LIMITS in eastfork/bin-3 at the bottom", "oxygen 19.4 %", "at least 19.5 and at most 23.5 %"}},
		{ledger.AirOutOfLimits.About("z", "crust-3", "eastfork/bin-3", "work", "combustible-gas", "11", "", "10", "% LFL", "c"), []string{"AIR OUT OF LIMITS in eastfork/bin-3 at the point of work", "combustible gas 11 % of the lower flammable limit", "allowed is at most 10 %"}},
	} {
		if err := code.Check(c.f); err != nil {
			t.Error(err)
		}
		got := words.English.Says(c.f)
		for i, w := range c.want {
			if at := strings.Index(got, w); at < 0 || i == 0 && at > 0 {
				t.Errorf("%q does not say %q in its place", got, w)
			}
		}
	}
}

// TestNothingTwice: no code or word stands in a catalogue twice, for a reader of JSON
// takes the second and says nothing.
func TestNothingTwice(t *testing.T) {
	raw, err := os.ReadFile("en.json")
	if err != nil {
		t.Fatal(err)
	}
	if found := twice(t, raw); len(found) > 0 {
		t.Errorf("these stand twice: %s", found)
	}
	if found := twice(t, []byte(`{"codes": {"A": {"says": "x"}, "B": {"says": "x"}, "A": {"says": "y"}}}`)); !slices.Equal(found, []string{"codes A"}) {
		t.Errorf("a code that stands twice is not seen: %s", found)
	}
}

func twice(t *testing.T, raw []byte) (found []string) {
	t.Helper()
	var parts map[string]json.RawMessage
	if err := json.Unmarshal(raw, &parts); err != nil {
		t.Fatal(err)
	}
	for part, of := range parts {
		d, seen := json.NewDecoder(bytes.NewReader(of)), map[string]bool{}
		if _, err := d.Token(); err != nil {
			t.Fatal(err)
		}
		for d.More() {
			key, err := d.Token()
			if err != nil {
				t.Fatal(err)
			}
			var entry json.RawMessage
			if err := d.Decode(&entry); err != nil {
				t.Fatal(err)
			}
			name := part + " " + key.(string)
			if seen[name] {
				found = append(found, name)
			}
			seen[name] = true
		}
	}
	return found
}
