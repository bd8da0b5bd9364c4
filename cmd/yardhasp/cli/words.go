package cli

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// word is an enum value in plain words, such as "fuel gas" for MEDIUM_FUEL_GAS.
func word(prefix, name string) string {
	w := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
	if w == "unspecified" {
		return "not known"
	}
	return w
}

func mediumWord(m recordv1.Medium) string       { return word("MEDIUM_", m.String()) }
func kindWord(k recordv1.ReadingKind) string    { return word("READING_KIND_", k.String()) }
func isolationWord(i recordv1.Isolation) string { return word("ISOLATION_", i.String()) }

// stageWord says which stage a job has reached. An approved start must not read as an
// approved job: the people who work there must keep out.
func stageWord(s recordv1.Stage) string {
	switch s {
	case recordv1.Stage_STAGE_STOPPED:
		return "WORK STOPPED"
	case recordv1.Stage_STAGE_REQUESTED:
		return "START ASKED FOR, keep out"
	case recordv1.Stage_STAGE_APPROVED:
		return "START APPROVED, keep out"
	case recordv1.Stage_STAGE_ENERGISED:
		return "ENERGISED, keep out"
	}
	return word("STAGE_", s.String())
}

// stateWord says which state a request has reached. An approval is no permission to
// close.
func stateWord(s recordv1.RequestState) string {
	if s == recordv1.RequestState_REQUEST_STATE_APPROVED {
		return "approved, NOT a go-ahead"
	}
	return word("REQUEST_STATE_", s.String())
}

// positionWord says where a handle is according to the records, and nothing more.
func positionWord(p recordv1.Position) string {
	switch p {
	case recordv1.Position_POSITION_OPEN:
		return "recorded open, NOT LOCKED"
	case recordv1.Position_POSITION_OPEN_AND_HELD:
		return "recorded open and held"
	case recordv1.Position_POSITION_LIVE:
		return "LIVE"
	}
	return "NOT KNOWN: take it as live"
}

// pick reads a word of an enum, written with spaces, hyphens or underscores.
func pick(c *cobra.Command, flag, prefix, given string, values map[string]int32) (int32, error) {
	name := prefix + strings.ToUpper(strings.NewReplacer(" ", "_", "-", "_").Replace(given))
	if n, ok := values[name]; ok && n != 0 {
		return n, nil
	}
	numbers := slices.Sorted(maps.Values(values))
	var known []string
	for _, n := range numbers {
		for name, v := range values {
			if v == n && n != 0 {
				known = append(known, strings.ReplaceAll(word(prefix, name), " ", "-"))
			}
		}
	}
	return 0, usage(c, "--%s %q is none of: %s", flag, given, strings.Join(known, ", "))
}

// refArg reads "yard/epoch/number", as receipts show it.
func refArg(c *cobra.Command, s string) (*recordv1.JournalRef, error) {
	r := &recordv1.JournalRef{}
	yard, rest, _ := strings.Cut(s, "/")
	r.Yard = yard
	if n, err := fmt.Sscanf(rest, "%d/%d", &r.Epoch, &r.Seq); n != 2 || err != nil || ledger.RefOf(r) != s || !ledger.Name(yard) {
		return nil, usage(c, "%q does not name a record: write yard/epoch/number, as its receipt shows it", s)
	}
	return r, nil
}

// dateArg reads a day, which means its end in UTC, or an RFC 3339 time.
func dateArg(c *cobra.Command, flag, s string) (int64, error) {
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t.UnixMilli(), nil
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0, usage(c, "--%s %q is not a day as 2027-01-31, nor a time as RFC 3339 writes it", flag, s)
	}
	return t.AddDate(0, 0, 1).UnixMilli(), nil
}

func rolesArg(c *cobra.Command, given []string) ([]recordv1.Role, error) {
	var out []recordv1.Role
	for _, w := range given {
		n, err := pick(c, "role", "ROLE_", w, recordv1.Role_value)
		if err != nil {
			return nil, err
		}
		out = append(out, recordv1.Role(n))
	}
	return out, nil
}

func roleWords(rs []recordv1.Role) string {
	var out []string
	for _, r := range rs {
		out = append(out, ledger.RoleName(r))
	}
	return strings.Join(out, ", ")
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
