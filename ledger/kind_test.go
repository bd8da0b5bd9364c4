package ledger

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// TestEachCellIsNeeded takes each cell of each row of the table of kinds away: the
// table is then not built, and its error names the kind and the cell. The program
// builds the table before anything else and stops on that error.
func TestEachCellIsNeeded(t *testing.T) {
	whole := declared
	if _, err := collect(whole); err != nil {
		t.Fatal(err)
	}
	cells := 0
	for i := range whole {
		v := reflect.TypeOf(whole[i])
		for c := range v.NumField() {
			less := slices.Clone(whole)
			reflect.ValueOf(&less[i]).Elem().Field(c).SetZero()
			cells++
			_, err := collect(less)
			if err == nil {
				t.Errorf("kind %s stands without its cell %s", whole[i].Name, v.Field(c).Name)
				continue
			}
			for _, want := range []string{less[i].Name, v.Field(c).Name} {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("kind %s without its cell %s: %v", whole[i].Name, v.Field(c).Name, err)
				}
			}
		}
	}
	t.Logf("%d cells of %d kinds", cells, len(whole))
}

// TestEachKindHasARow: a kind of the contract without a row, a row without a kind and
// a row twice are seen.
func TestEachKindHasARow(t *testing.T) {
	whole := declared
	for i := range whole {
		if _, err := collect(slices.Delete(slices.Clone(whole), i, i+1)); err == nil || !strings.Contains(err.Error(), whole[i].Name) {
			t.Errorf("without the row of %s: %v", whole[i].Name, err)
		}
	}
	if _, err := collect(append(slices.Clone(whole), whole[0])); err == nil {
		t.Error("a row that stands twice is not seen")
	}
	other := whole[0]
	other.Name = "no_such_kind"
	if _, err := collect(append(slices.Clone(whole), other)); err == nil {
		t.Error("a row that the contract lacks is not seen")
	}
}
