package record

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"strconv"
	"strings"
)

// csvHead names the columns. Names within one are separated by "; ".
var csvHead = []string{"index", "ledger_time", "captured", "clock_doubt", "record", "kind", "signer", "state", "people", "jobs", "points", "locks", "yards", "details", "changes", "flags", "unmet", "codes"}

// CSV writes the history as RFC 4180 describes. The first row after the head says what
// it rests on, with the caution. No spreadsheet takes a cell for a formula.
func (h *History) CSV(w io.Writer) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true // RFC 4180, 2.1
	r := h.Rests
	about := make([]string, len(csvHead))
	about[1], about[5] = stamp(r.AsOfUnixMs), "ABOUT THIS FILE"
	about[13] = strings.Join([]string{r.Coop, h.Filter.String(), "ledger " + r.Ledger, "size " + strconv.FormatUint(r.Size, 10), "root " + r.Root, "signed by " + strings.Join(r.SignedBy, ", "), r.How}, "; ")
	about[14] = r.Caution
	rows := [][]string{csvHead, about}
	for _, e := range h.Events {
		doubt := "no"
		if e.ClockDoubt {
			doubt = "yes"
		}
		captured := ""
		if e.CapturedUnixMs != 0 {
			captured = stamp(e.CapturedUnixMs)
		}
		var fields []string
		for _, f := range e.Details {
			fields = append(fields, f.Name+": "+f.Value)
		}
		rows = append(rows, []string{strconv.FormatUint(e.Index, 10), stamp(e.TimeUnixMs), captured, doubt, e.Ref, e.Kind, e.Signer, e.State(),
			join(e.People), join(e.Jobs), join(e.Points), join(e.Locks), join(e.Yards), join(fields), join(Sentences(e.Changes)), join(Sentences(e.Flags)), join(Sentences(e.Unmet)),
			join(codesOf(e.Changes, e.Flags, e.Unmet))})
	}
	for _, row := range rows {
		safe := make([]string, len(row))
		for i, cell := range row {
			safe[i] = Cell(cell)
		}
		if err := out.Write(safe); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func join(list []string) string { return strings.Join(list, "; ") }

// Cell makes a cell that no spreadsheet takes for a formula. A cell that begins with = +
// - @, a tab or a line break gets an apostrophe before it.
func Cell(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\n", rune(s[0])) {
		return "'" + s
	}
	return s
}

// JSONLines writes one object per line: first what the history rests on, then each
// entry.
func (h *History) JSONLines(w io.Writer) error {
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	if err := out.Encode(struct {
		Rests  Rests  `json:"rests_on"`
		Filter Filter `json:"filter"`
	}{h.Rests, h.Filter}); err != nil {
		return err
	}
	for _, e := range h.Events {
		if err := out.Encode(e); err != nil {
			return err
		}
	}
	return nil
}
