package cli

import (
	"fmt"
	"strings"
	"time"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// NotPermission ends every screen that people read off site (design.md).
const NotPermission = "this is not permission: report, hang your own lock, verify"

// asOf is the first thing on every screen. It says how the answer is known.
func (p *page) asOf(v *recordv1.AsOf) {
	if v.GetConfirmed() {
		p.line("as of %s (%d entries): confirmed by a quorum, answered by %s at %s", p.a.when(v.GetTimeUnixMs()), v.GetSize(), orDash(v.GetYard()), p.a.when(v.GetReadUnixMs()))
	} else {
		p.unconfirmed(v)
	}
	p.diverged(v)
	p.notHeard(v)
}

// diverged says loudly that replicas hold different histories.
func (p *page) diverged(v *recordv1.AsOf) {
	if v.GetDivergence() != nil {
		p.loud("ALARM:", "%s", p.a.words().Says(v.GetDivergence()))
	}
}

// saysOf is a finding in words, "" for none.
func (p *page) saysOf(f *recordv1.Finding) string { return saysOf(p.a, f) }

// unconfirmed says since when nothing is known. The yard's own clock counts the
// age at its reading; what passed here since is added.
func (p *page) unconfirmed(v *recordv1.AsOf) {
	last := v.GetConfirmedUnixMs()
	if last == 0 {
		p.loud("UNCONFIRMED:", "last known at %s, answered by %s, where no quorum was heard since it started%s",
			p.a.when(v.GetTimeUnixMs()), orDash(v.GetYard()), because(p.saysOf(v.GetBecause())))
		return
	}
	old := time.Duration(v.GetReadUnixMs()-last)*time.Millisecond + p.kept
	p.loud("UNCONFIRMED:", "last known at %s, %s, answered by %s%s", time.UnixMilli(last).UTC().Format(time.RFC3339), age(old), orDash(v.GetYard()), because(p.saysOf(v.GetBecause())))
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ": " + why
}

func (p *page) notHeard(v *recordv1.AsOf) {
	var out []string
	for _, y := range v.GetYards() {
		if !y.GetHeard() {
			out = append(out, fmt.Sprintf("%s (last heard %s)", y.GetYard(), p.a.when(y.GetLastHeardUnixMs())))
		}
	}
	if len(out) > 0 {
		p.loud("NOT HEARD FROM:", "%s", strings.Join(out, ", "))
	}
}

// notAsked names the other yards if one machine answers alone. It asked none of them, so
// its answer does not say whether they are up.
func (p *page) notAsked(v *recordv1.AsOf) {
	var out []string
	for _, y := range v.GetYards() {
		if !y.GetHeard() {
			out = append(out, fmt.Sprintf("%s (last heard %s)", y.GetYard(), p.a.when(y.GetLastHeardUnixMs())))
		}
	}
	if len(out) > 0 {
		p.line("no other yard was asked: %s", strings.Join(out, ", "))
	}
}

func (p *page) alarms(raised []*recordv1.Finding) {
	for _, f := range raised {
		p.loud("ALARM:", "%s", p.a.alarm(f))
	}
}

// alarm is an alarm in words, with the command that ends it.
func (a *App) alarm(f *recordv1.Finding) string {
	text := a.words().Says(f)
	if next := a.words().Next(f); next != "" {
		text += "; ends by \"" + next + "\""
	}
	return text
}

func (p *page) conditions(title string, cs []*recordv1.Finding) {
	if len(cs) == 0 {
		return
	}
	p.section(title)
	p.buf.WriteString(p.a.conditionsText(cs))
}

// caution stands wherever a screen says that a plan isolates, that work may start, that
// a request is approved, or that a go-ahead shows.
func (p *page) caution() { p.line("\n%s", ledger.Caution) }
