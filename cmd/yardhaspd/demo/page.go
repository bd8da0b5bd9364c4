package demo

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// page is what the reader sees. err keeps the first error of writing.
type page struct {
	w       io.Writer
	err     error
	muted   bool // acts are not shown
	chapter int
}

func (p *page) line(format string, a ...any) {
	if p.muted {
		return
	}
	if _, err := fmt.Fprintf(p.w, format+"\n", a...); p.err == nil {
		p.err = err
	}
}

func (p *page) opening() {
	p.line("A shift at the Three Forks Grain Co-op, an invention of ours: three elevators, called yards, one ledger.")
	p.line("Each yard's replica is a process of its own on this machine; people reach it over gRPC as they would over a road.")
	p.line("Before a hand goes into a machine, everything that could move, shock or bury its owner is switched off, locked and")
	p.line("proved dead, and nothing starts again until the last person has taken their own lock off. Watch how.")
	p.line("")
	p.line("A line reads: yard that wrote it, who, what, where it stands in the ledger, what they may rely on.")
}

func (p *page) closing(steps int) {
	p.line("")
	p.line("%d things were checked on the way, and all were as they must be.", steps)
}

// heading opens the next chapter and says why it matters.
func (p *page) heading(title string, why ...string) {
	if !p.muted {
		p.chapter++
	}
	p.line("\n%d. %s", p.chapter, title)
	for _, w := range why {
		p.line("   %s", w)
	}
	p.line("")
}

// say writes a remark between acts, broken into lines.
func (p *page) say(format string, a ...any) { p.fold("   ", "     ", fmt.Sprintf(format, a...)) }

// width is the width of the page in characters. Only the caution is wider.
const width = 118

// fold writes a text broken at spaces.
func (p *page) fold(first, rest, text string) {
	lead, line := first, ""
	for _, word := range strings.Fields(text) {
		if line != "" && len(lead)+len(line)+1+len(word) > width {
			p.line("%s%s", lead, line)
			lead, line = rest, ""
		}
		line += sep(line) + word
	}
	p.line("%s%s", lead, line)
}

func sep(line string) string {
	if line == "" {
		return ""
	}
	return " "
}

// act writes one line for somebody's act.
func (p *page) act(yard, who, what, where, status string) {
	p.line("%-10s %-10s %-68s %-12s %s", yard, who, what, where, status)
}

// permission writes a line that somebody could take for permission to go on. So the
// caution always follows it.
func (p *page) permission(format string, a ...any) {
	p.line(">> "+format, a...)
	p.line("   %s", ledger.Caution)
}

// conditions lists what is missing: what it is, who can supply it, and the clause.
// Conditions that differ only in their subject share one line.
func (p *page) conditions(cs []*recordv1.Finding) {
	general := func(c *recordv1.Finding) string {
		return c.GetCode() + " " + strings.ReplaceAll(words.English.Says(c), c.GetSubject(), "each of these") + words.English.Remedy(c)
	}
	n := 0
	for i, c := range cs {
		same := func(o *recordv1.Finding) bool { return general(o) == general(c) }
		if slices.IndexFunc(cs, same) < i {
			continue
		}
		var about []string
		for _, o := range cs {
			if same(o) && !slices.Contains(about, o.GetSubject()) {
				about = append(about, o.GetSubject())
			}
		}
		n++
		const indent = "                      "
		text := words.English.Says(c)
		if len(about) > 1 {
			text = strings.ReplaceAll(text, c.GetSubject(), "each of these")
		}
		p.fold(fmt.Sprintf("     %2d. ", n), "         ", text)
		if len(about) > 1 || !strings.Contains(text, c.GetSubject()) {
			p.fold("         at           ", indent, strings.Join(about, ", "))
		}
		p.fold("         supplied by  ", indent, orElse(words.English.Who(c), "anybody")+after(": ", words.English.Remedy(c)))
		if cl := words.English.Clause(c); cl != "" {
			p.fold("         clause       ", indent, cl)
		}
	}
}

// asOf comes first on every screen. It says how sure the answer is, and which yards
// were not heard.
func (p *page) asOf(a *recordv1.AsOf) {
	if a.GetConfirmed() {
		p.say("| as of %s, %d entries: CONFIRMED by a quorum, answered by %s", stamp(a.GetTimeUnixMs()), a.GetSize(), a.GetYard())
	} else {
		p.say("| UNCONFIRMED: last known at %s, %d entries, answered by %s%s", stamp(a.GetTimeUnixMs()), a.GetSize(), a.GetYard(), after(": ", because(a)))
	}
	var lost []string
	for _, y := range a.GetYards() {
		if !y.GetHeard() {
			lost = append(lost, y.GetYard()+since(y.GetLastHeardUnixMs()))
		}
	}
	p.say("| yards not heard from: %s", orElse(strings.Join(lost, ", "), "none"))
}

// because says in words why an answer is not confirmed.
func because(a *recordv1.AsOf) string {
	if a.GetBecause() == nil {
		return ""
	}
	return words.English.Says(a.GetBecause())
}

// since says for how long a yard has not been heard.
func since(ms int64) string {
	if ms == 0 {
		return ""
	}
	return " (since " + stamp(ms) + ")"
}

func stamp(ms int64) string { return time.UnixMilli(ms).UTC().Format("2006-01-02 15:04:05 UTC") }

func entry(index uint64) string { return fmt.Sprintf("entry %d", index) }

func statusWord(s servicev1.Status) string {
	return strings.ReplaceAll(strings.TrimPrefix(s.String(), "STATUS_"), "_", " ")
}

func mediumWord(m recordv1.Medium) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(m.String(), "MEDIUM_")), "_", " ")
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

func after(sep, s string) string {
	if s == "" {
		return ""
	}
	return sep + s
}
