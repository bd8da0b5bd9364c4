package record_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"yardhasp/client"
	"yardhasp/client/record"
	"yardhasp/client/record/sample"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func week(t *testing.T) *sample.World {
	t.Helper()
	w, err := sample.Week()
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func read(t *testing.T, w *sample.World, f record.Filter) *record.History {
	t.Helper()
	h, err := record.Read(bytes.NewReader(w.Export()), w.ID, f)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// kinds are the picked entries, from the end of the setting up on.
func kinds(h *record.History) string {
	var out []string
	for _, e := range h.Events {
		out = append(out, e.Kind+" "+e.Signer)
	}
	return strings.Join(out, ", ")
}

// What each filter picks, counted by hand from sample.Week.
func TestFilter(t *testing.T) {
	w := week(t)
	all := read(t, w, record.Filter{})
	if len(all.Events) != len(w.Entries) {
		t.Fatalf("%d events of %d entries", len(all.Events), len(w.Entries))
	}
	for _, c := range []struct {
		f    record.Filter
		want string
	}{
		{record.Filter{Lock: "ravi-1"}, "register_padlock nia, lock ravi, hand_over ravi, lock ravi, removal nia, lock ravi"},
		{record.Filter{Lock: "stonebend/1/3"}, "lock ravi, hand_over ravi"},
		{record.Filter{Lock: "millrow/1/1"}, "lock lena, release lena, release lena"},
		{record.Filter{Point: sample.Fan}, "register_point nia, lock lena, release lena, lock ravi, removal nia, release lena"},
		{record.Filter{Job: sample.Job}, "open_job ravi, isolate ravi, lock ravi, reading ravi, reading ravi, sign_on ravi, lock lena, hand_over ravi, removal nia, acknowledge_removal lena, lock ravi"},
		{record.Filter{At: "millrow", Person: "ravi"}, "lock ravi, removal nia"},
		{record.Filter{State: "refused"}, "release lena"},
		{record.Filter{Person: "dov"}, "invite nia, join dov, open_job ravi"},
		{record.Filter{Person: "ines", At: "stonebend"}, "removal nia"},
		{record.Filter{Job: "none"}, ""},
	} {
		if got := kinds(read(t, w, c.f)); got != c.want {
			t.Errorf("%s:\n  got  %s\n  want %s", c.f, got, c.want)
		}
	}
	// From Since on, before Until: entry n is stamped n+1 minutes after Start.
	h := read(t, w, record.Filter{Since: sample.Start + 3*60_000, Until: sample.Start + 5*60_000})
	if len(h.Events) != 2 || h.Events[0].Index != 2 || h.Events[1].Index != 3 {
		t.Errorf("the period picks %s", kinds(h))
	}
	// A flagged entry: the reading whose meter was not proved afterwards.
	flagged := read(t, w, record.Filter{State: "flagged", Job: sample.Job})
	if !strings.Contains(kinds(flagged), "reading ravi") || len(flagged.Readings) != 1 || flagged.Readings[0].Counts {
		t.Errorf("flagged: %s, readings %v", kinds(flagged), flagged.Readings)
	}
}

// The root and size named are those that verifying the same export gives, and a
// changed byte gives no history at all.
func TestRestsOnTheExport(t *testing.T) {
	w := week(t)
	file := w.Export()
	v, err := client.VerifyExport(bytes.NewReader(file), w.ID)
	if err != nil {
		t.Fatal(err)
	}
	h := read(t, w, record.Filter{Job: sample.Job})
	if h.Rests.Root != v.Root || h.Rests.Size != v.Size || h.Rests.Size != uint64(len(w.Entries)) {
		t.Errorf("rests on %s of size %d, verified %s of size %d", h.Rests.Root, h.Rests.Size, v.Root, v.Size)
	}
	var report, table, lines bytes.Buffer
	for _, err := range []error{h.Report(&report, false), h.CSV(&table), h.JSONLines(&lines)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	for name, got := range map[string]string{"report": report.String(), "csv": table.String(), "json lines": lines.String()} {
		flat := strings.Join(strings.Fields(got), " ")
		if !strings.Contains(flat, v.Root) || !strings.Contains(flat, ledger.Caution) {
			t.Errorf("%s lacks the root or the caution", name)
		}
	}
	bad := bytes.Clone(file)
	bad[len(bad)/2] ^= 1
	if h, err := record.Read(bytes.NewReader(bad), w.ID, record.Filter{}); err == nil || h != nil {
		t.Errorf("a changed byte was taken: %v", err)
	}
	other := bytes.Repeat([]byte{1}, 32)
	if _, err := record.Read(bytes.NewReader(file), other, record.Filter{}); err == nil {
		t.Error("another ledger's export was taken")
	}
	if h, err := record.Read(bytes.NewReader(file), nil, record.Filter{}); err != nil || !strings.Contains(h.Rests.How, "NOT checked") {
		t.Errorf("without a ledger id it doesn't say so: %v", err)
	}
}

// RFC 4180: fields are quoted by encoding/csv, lines end in CRLF, every row has as
// many fields as the head. No cell begins as a formula does (the characters that
// OWASP's "CSV Injection" page lists, from memory).
func TestCSV(t *testing.T) {
	var b bytes.Buffer
	h := read(t, week(t), record.Filter{})
	if err := h.CSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(bytes.NewReader(b.Bytes())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != len(h.Events)+2 || !strings.Contains(b.String(), "\r\n") {
		t.Errorf("%d rows of %d events, or no CRLF", len(rows), len(h.Events))
	}
	for _, r := range rows {
		for _, cell := range r {
			if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
				t.Errorf("a spreadsheet takes %q for a formula", cell)
			}
		}
	}
	for in, want := range map[string]string{"=1+2": "'=1+2", "+1": "'+1", "-1": "'-1", "@sum": "'@sum", "\tx": "'\tx", "\rx": "'\rx", "a=b": "a=b", "": "", "1": "1"} {
		if got := record.Cell(in); got != want {
			t.Errorf("cell %q: %q, want %q", in, got, want)
		}
	}
}

// One object a line; the first says what it rests on.
func TestJSONLines(t *testing.T) {
	var b bytes.Buffer
	h := read(t, week(t), record.Filter{Job: sample.Job})
	if err := h.JSONLines(&b); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(lines) != len(h.Events)+1 {
		t.Fatalf("%d lines of %d events", len(lines), len(h.Events))
	}
	for i, l := range lines {
		var m map[string]any
		if err := json.Unmarshal([]byte(l), &m); err != nil {
			t.Fatalf("line %d: %v", i, err)
		}
		if _, first := m["rests_on"]; first != (i == 0) {
			t.Errorf("line %d: %.60s", i, l)
		}
		if i > 0 && (m["people"] == nil || m["flags"] == nil || m["details"] == nil) {
			t.Errorf("line %d leaves lists out: %s", i, l)
		}
		// No program has to read a sentence (decisions.md 45): code and arguments are there.
		changes, _ := m["changes"].([]any)
		for _, c := range changes {
			said, _ := c.(map[string]any)
			f, _ := said["finding"].(map[string]any)
			if f["code"] == nil || said["english"] == "" {
				t.Errorf("line %d: a change without its code or its sentence: %v", i, c)
			}
		}
	}
}

// The fields that the clauses ask for: 1910.147(e)(3)(i)-(iii), (f)(4), (c)(7)(iv);
// locks on and off; readings with their instrument. (c)(6)(ii) has no record here,
// and is left open, never made up.
func TestReportCertificates(t *testing.T) {
	var b bytes.Buffer
	h := read(t, week(t), record.Filter{})
	if err := h.Report(&b, false); err != nil {
		t.Fatal(err)
	}
	flat := strings.Join(strings.Fields(unheaded(b.String())), " ")
	for _, want := range []string{
		"Ravi Thole (ravi) on stonebend/head-house/leg-2, lock stonebend/1/3, padlock ravi-1, job boot-1",
		"by ravi, signed by lena too: handed over to lena",
		"by nia, signed by ines too: removed",
		"STILL ON as of this record",
		"electricity by meter, 0.4 V",
		"instrument: meter 4, proved before yes, proved after yes",
		"proved after NO by: Ravi Thole (ravi); DOES NOT COUNT",
		"(i) verified not at the facility: gate log read, both yards walked",
		"(ii) efforts to reach the person: called twice, asked at home",
		"(iii) told before working again: NOT YET: nothing recorded",
		", by their own signature",
		"lock stonebend/1/3 of Ravi Thole (ravi) came off, lock stonebend/1/7 of Lena Brandt (lena) stayed on",
		"employee Lena Brandt (lena): recorded",
		"certified by: Nia Okoro (nia)",
		"machine, date, employees, inspector) nothing recorded",
		"Machine: stonebend/leg-2-boot employees who locked or signed on there: Lena Brandt (lena), Ravi Thole (ravi)",
		"release by lena, record millrow/1/4, REFUSED",
	} {
		if !strings.Contains(flat, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	if t.Failed() {
		t.Log(b.String())
	}
	if len(h.Removals) != 2 || h.Removals[0].ToldUnixMs == 0 || h.Removals[1].ToldUnixMs != 0 {
		t.Errorf("removals: %+v", h.Removals)
	}
}

// unheaded is the report without the headings of its pages.
func unheaded(report string) string {
	var out []string
	for _, page := range strings.Split(report, "\f") {
		_, body, _ := strings.Cut(page, strings.Repeat("-", record.PageWidth)+"\n")
		out = append(out, body)
	}
	return strings.Join(out, "")
}

// Every page has its heading and keeps to the paper; a section without a record
// says so, and nothing is called safe.
func TestReportPages(t *testing.T) {
	for name, f := range map[string]record.Filter{"everything": {}, "nothing": {Job: "none"}} {
		h := read(t, week(t), f)
		var b bytes.Buffer
		if err := h.Report(&b, false); err != nil {
			t.Fatal(err)
		}
		pages := strings.Split(b.String(), "\f")
		if name == "everything" && len(pages) < 3 {
			t.Errorf("%d pages: too few to see a page break", len(pages))
		}
		for i, p := range pages {
			lines := strings.Split(strings.TrimSuffix(p, "\n"), "\n")
			if len(lines) > record.PageLines {
				t.Errorf("%s: page %d has %d lines", name, i+1, len(lines))
			}
			for _, l := range lines {
				if utf8.RuneCountInString(l) > record.PageWidth {
					t.Errorf("%s: %d characters: %s", name, utf8.RuneCountInString(l), l)
				}
			}
			head := strings.Join(strings.Fields(strings.Join(lines[:slices.Index(lines, strings.Repeat("-", record.PageWidth))], " ")), " ")
			for _, want := range []string{"Three Forks Grain Co-op", "as of 20", "root " + h.Rests.Root, fmt.Sprintf("page %d of %d", i+1, len(pages)), ledger.Caution} {
				if !strings.Contains(head, want) {
					t.Errorf("%s: the head of page %d lacks %q: %s", name, i+1, want, head)
				}
			}
		}
		if name == "nothing" && strings.Count(b.String(), "nothing recorded") != 7 {
			t.Errorf("not every empty section says so:\n%s", b.String())
		}
		if strings.Contains(strings.ToLower(b.String()), "safe") {
			t.Error("the report says safe")
		}
	}
}

// A reading that shows energy is found live (design.md): it is never listed as one
// that counts. Units stand beside SI where they are asked for; 690 / 6.894757 = 100.1.
func TestReportLiveReading(t *testing.T) {
	w := week(t)
	act := func(volts float64, moved bool, kind recordv1.ReadingKind) *recordv1.Record {
		return &recordv1.Record{Act: &recordv1.Record_Reading{Reading: &recordv1.Reading{Job: sample.Job, Part: sample.Part, Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Kind: kind,
			Value: volts, Moved: moved, Instrument: "meter 4", ProvedBefore: true, ProvedAfter: true, PhaseToPhase: true, PhaseToGround: true}}}
	}
	w.Journal("stonebend", "ravi", act(0.1, false, recordv1.ReadingKind_READING_KIND_METER))
	w.Journal("stonebend", "ravi", act(240, false, recordv1.ReadingKind_READING_KIND_METER))
	w.Journal("stonebend", "ravi", act(0, true, recordv1.ReadingKind_READING_KIND_METER))
	w.Journal("stonebend", "ravi", act(690, false, recordv1.ReadingKind_READING_KIND_GAUGE))
	h := read(t, w, record.Filter{})
	var counts []bool
	for _, r := range h.Readings[2:] {
		counts = append(counts, r.Counts)
	}
	if !slices.Equal(counts, []bool{true, false, false, false}) {
		t.Errorf("counted: %v, want the first alone", counts)
	}
	for us, want := range map[bool]string{true: "690 kPa (100.1 psi)", false: "690 kPa"} {
		var b bytes.Buffer
		if err := h.Report(&b, us); err != nil || !strings.Contains(b.String(), want) || strings.Contains(b.String(), "psi") != us {
			t.Errorf("units us %v: lacks %q, %v", us, want, err)
		}
		flat := strings.Join(strings.Fields(unheaded(b.String())), " ")
		if !strings.Contains(flat, "240 V instrument: meter 4, proved before yes, proved after yes by: Ravi Thole (ravi); DOES NOT COUNT") || !strings.Contains(flat, "SOMETHING MOVED, LIT OR FLOWED") {
			t.Errorf("what was found live reads as a reading:\n%s", b.String())
		}
	}
}

// A certificate of inspection, once there is a kind of record for it, shows what
// was signed.
func TestReportInspection(t *testing.T) {
	h := &record.History{Events: []*record.Event{{Kind: "inspection", Signer: "ines", Accepted: true, TimeUnixMs: sample.Start,
		Details: []record.Field{{Name: "machine", Value: "stonebend/leg-2-boot"}, {Name: "employees", Value: "ravi, lena"}}}}, Names: map[string]string{"ines": "Ines Fox"}}
	var b bytes.Buffer
	if err := h.Report(&b, true); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"2026-09-21T14:13:20Z by Ines Fox (ines), accepted", "machine: stonebend/leg-2-boot", "employees: ravi, lena"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q:\n%s", want, b.String())
		}
	}
}
