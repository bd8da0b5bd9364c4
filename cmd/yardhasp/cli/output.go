package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"yardhasp/client/words"

	"github.com/goccy/go-yaml"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
)

// print writes a result: v as JSON or YAML, or the page that draw makes.
func (a *App) print(v any, draw func(p *page)) error {
	if a.output == "table" {
		p := &page{a: a}
		draw(p)
		_, err := a.Out.Write(p.buf.Bytes())
		return err
	}
	data, err := stableJSON(v)
	if err != nil {
		return err
	}
	if a.output == "yaml" {
		if data, err = yaml.JSONToYAML(data); err != nil {
			return err
		}
	} else {
		data = append(data, '\n')
	}
	_, err = a.Out.Write(data)
	return err
}

// printLine writes one result of a stream: one line of JSON, one YAML document,
// or a line of text.
func (a *App) printLine(v any, draw func(p *page)) error {
	switch a.output {
	case "json":
		data, err := stableJSON(v)
		if err != nil {
			return err
		}
		var one bytes.Buffer
		if err := json.Compact(&one, data); err != nil {
			return err
		}
		one.WriteByte('\n')
		_, err = a.Out.Write(one.Bytes())
		return err
	case "yaml":
		if _, err := fmt.Fprintln(a.Out, "---"); err != nil {
			return err
		}
	}
	return a.print(v, draw)
}

// stableJSON removes the random spacing that protojson adds on purpose.
func stableJSON(v any) ([]byte, error) {
	m, ok := v.(proto.Message)
	if !ok {
		return json.MarshalIndent(v, "", "  ")
	}
	raw, err := protojson.MarshalOptions{EmitUnpopulated: true, UseProtoNames: true}.Marshal(m)
	if err != nil {
		return nil, err
	}
	if raw, err = withEnglish(raw, m.ProtoReflect().Descriptor()); err != nil {
		return nil, err
	}
	var out, compact bytes.Buffer
	if err := json.Compact(&compact, raw); err != nil {
		return nil, err
	}
	err = json.Indent(&out, compact.Bytes(), "", "  ")
	return out.Bytes(), err
}

// coloured reports whether to print colour. A flag decides first, then NO_COLOR and
// CLICOLOR=0, then whether stdout is a terminal.
func (a *App) coloured() bool {
	switch {
	case a.color == "always":
		return true
	case a.color == "never", a.Env("NO_COLOR") != "", a.Env("CLICOLOR") == "0":
		return false
	}
	return a.TTY
}

// loud makes a word stand out. The word must also be clear without that.
func (a *App) loud(word string) string {
	if !a.coloured() {
		return word
	}
	return "\x1b[1;31m" + word + "\x1b[0m"
}

// page is a screen being drawn.
type page struct {
	a   *App
	buf bytes.Buffer
	// kept is how long ago the shown data was kept on this machine.
	kept time.Duration
	// of is the part of a board to show.
	of boardOf
}

func (p *page) line(format string, v ...any) {
	fmt.Fprintln(&p.buf, p.a.quantities(fmt.Sprintf(format, v...)))
}

// loud prints a line whose first word stands out.
func (p *page) loud(word, format string, v ...any) {
	p.line("%s %s", p.a.loud(word), fmt.Sprintf(format, v...))
}

func (p *page) section(title string) { p.line("\n%s", title) }

// table prints rows under a heading. It prints nothing when there are none.
func (p *page) table(title string, heads []string, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	p.section(title)
	w := tabwriter.NewWriter(&p.buf, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  "+strings.Join(heads, "\t"))
	for _, r := range rows {
		cells := make([]string, len(r))
		for i, cell := range r {
			cells[i] = p.a.quantities(cell)
		}
		fmt.Fprintln(w, "  "+strings.Join(cells, "\t"))
	}
	w.Flush()
}

func (p *page) list(title string, items []string) {
	if len(items) == 0 {
		return
	}
	p.section(title)
	for _, i := range items {
		p.wrapped("  - ", "    ", i)
	}
}

// words are the sentences of the rules, with moments as this screen shows them.
func (a *App) words() *words.Catalogue { return words.English.At(a.when) }

// when writes a time given in Unix ms: RFC 3339 in UTC, or on a terminal the local time
// and how long ago that was.
func (a *App) when(ms int64) string {
	if ms <= 0 {
		return "never"
	}
	t := time.UnixMilli(ms)
	if !a.TTY {
		return t.UTC().Format(time.RFC3339)
	}
	return a.short(t) + ", " + age(a.Now().Sub(t))
}

// short is a local time. It names the year if that is not this year.
func (a *App) short(t time.Time) string {
	if t = t.Local(); t.Year() != a.Now().Local().Year() {
		return t.Format("2 Jan 2006 15:04")
	}
	return t.Format("2 Jan 15:04")
}

// ends writes a time that lies ahead. On a terminal it says how long is left.
func (a *App) ends(ms int64) string {
	t := time.UnixMilli(ms)
	left := t.Sub(a.Now())
	switch {
	case ms <= 0 || !a.TTY || left <= 0:
		return a.when(ms)
	case left < time.Minute:
		return a.short(t) + ", in less than 1 min"
	case left < 2*time.Hour:
		return fmt.Sprintf("%s, in %d min", a.short(t), int(left.Minutes()))
	case left < 48*time.Hour:
		return fmt.Sprintf("%s, in %d h", a.short(t), int(left.Hours()))
	}
	return fmt.Sprintf("%s, in %d days", a.short(t), int(left.Hours()/24))
}

// lastDay writes a limit that was given as a day (see dateArg) as that day, and any
// other limit as a time.
func (a *App) lastDay(ms int64) string {
	if t := time.UnixMilli(ms).UTC(); ms > 0 && t.Equal(t.Truncate(24*time.Hour)) {
		return t.AddDate(0, 0, -1).Format(time.DateOnly)
	}
	return a.ends(ms)
}

// age says how long ago something was, in whole units, rounded down.
func age(d time.Duration) string {
	switch {
	case d < 0:
		return "in the future by this clock"
	case d < time.Minute:
		return "less than 1 min ago"
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min ago", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h ago", int(d.Hours()))
	}
	return fmt.Sprintf("%d days ago", int(d.Hours()/24))
}
