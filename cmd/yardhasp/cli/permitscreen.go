package cli

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/client/words"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func refOf(r *recordv1.JournalRef) string { return ledger.RefOf(r) }

// thousandths reads a decimal without rounding: 20.8 is 20800. A value finer than
// a thousandth is not cut off: that could hide what is past a limit.
func thousandths(c *cobra.Command, flag, value string) (int64, error) {
	whole, part, dot := strings.Cut(value, ".")
	digits := func(s string) bool {
		return s != "" && !strings.ContainsFunc(s, func(r rune) bool { return r < '0' || r > '9' })
	}
	if !digits(whole) || dot && !digits(part) || len(part) > 3 || len(whole) > 12 {
		return 0, usage(c, "--%s %q is not a number from 0 with at most three decimals", flag, value)
	}
	return strconv.ParseInt(whole+part+strings.Repeat("0", 3-len(part)), 10, 64)
}

// permitStateWord says how a permit stands; nothing but "in force" is leave.
func permitStateWord(v *recordv1.PermitView) string {
	switch v.GetState() {
	case recordv1.PermitState_PERMIT_STATE_IN_FORCE:
		return "in force"
	case recordv1.PermitState_PERMIT_STATE_SUSPENDED:
		if v.GetKind() == recordv1.PermitKind_PERMIT_KIND_HOT_WORK {
			return "SUSPENDED, no flame, no sparks"
		}
		return "SUSPENDED, everybody out"
	case recordv1.PermitState_PERMIT_STATE_ENDED:
		if v.GetKind() == recordv1.PermitKind_PERMIT_KIND_HOT_WORK {
			return "TIME OVER, no flame, no sparks"
		}
		return "TIME OVER, everybody out"
	case recordv1.PermitState_PERMIT_STATE_WATCHED:
		return "hot work over, FIRE WATCH GOES ON"
	case recordv1.PermitState_PERMIT_STATE_CLOSED:
		return "closed"
	}
	return "NOT KNOWN, nobody goes in, no flame"
}

func inForce(v *recordv1.PermitView) bool {
	return v.GetState() == recordv1.PermitState_PERMIT_STATE_IN_FORCE
}

// permitsOut calls out whoever is inside under a permit that does not hold.
func (p *page) permitsOut(ps []*recordv1.PermitView) {
	for _, v := range ps {
		var who []string
		for _, i := range v.GetInside() {
			who = append(who, i.GetPerson())
		}
		slices.Sort(who)
		who = slices.Compact(who)
		st := v.GetState()
		if len(who) > 0 && (st == recordv1.PermitState_PERMIT_STATE_SUSPENDED || st == recordv1.PermitState_PERMIT_STATE_ENDED) {
			p.loud("GET OUT:", "%s of %s: permit %s is %s", strings.Join(who, ", "), v.GetZone(), v.GetId(), permitStateWord(v))
		}
	}
}

// permits prints the table of permits and reports whether one is in force.
func (p *page) permits(ps []*recordv1.PermitView) (force bool) {
	var rows [][]string
	for _, v := range ps {
		force = force || inForce(v)
		var in, watch []string
		for _, i := range v.GetInside() {
			in = append(in, i.GetPerson())
		}
		for _, w := range v.GetWatches() {
			watch = append(watch, w.GetPerson())
		}
		due := "-"
		if v.GetAirDueUnixMs() > 0 {
			due = p.a.ends(v.GetAirDueUnixMs())
		}
		rows = append(rows, []string{v.GetId(), words.English.Word(ledger.PermitWord(v.GetKind())), v.GetZone(), permitStateWord(v), orDash(strings.Join(in, ", ")), orDash(strings.Join(watch, ", ")), due, p.a.ends(v.GetEndsUnixMs())})
	}
	p.table("permits", []string{"PERMIT", "FOR", "ZONE", "STATE", "INSIDE", "WATCHING", "AIR AGAIN BY", "ENDS"}, rows)
	return force
}

func (p *page) permitList(b *recordv1.Board) {
	p.asOf(b.GetAsOf())
	p.alarms(b.GetAlarms())
	p.permitsOut(b.GetPermits())
	if len(b.GetPermits()) == 0 {
		p.line("\nno permit is open; that does not say that nobody is inside")
	}
	if p.permits(b.GetPermits()) {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

func (p *page) permitPage(b *recordv1.Board, v *recordv1.PermitView) {
	p.asOf(b.GetAsOf())
	p.alarms(b.GetAlarms())
	p.permitsOut([]*recordv1.PermitView{v})
	p.line("\npermit %s for %s at %s: %s", v.GetId(), words.English.Word(ledger.PermitWord(v.GetKind())), v.GetZone(), permitStateWord(v))
	for _, f := range v.GetBecause() {
		p.line("why: %s", p.a.words().WithClause(f))
	}
	p.conditions("missing, and who supplies it", v.GetMissing())
	p.line("\njob %s, issued by %s at %s, ends %s", v.GetJob(), v.GetIssuedBy(), p.a.when(v.GetIssuedUnixMs()), p.a.ends(v.GetEndsUnixMs()))
	p.line("names: %s; to watch: %s", orDash(strings.Join(v.GetNamed(), ", ")), orDash(strings.Join(v.GetWatchers(), ", ")))
	if v.GetLine() != "" {
		p.line("line: %s", v.GetLine())
	}
	if v.GetRescueEquipment() != "" {
		p.line("rescue equipment: %s", v.GetRescueEquipment())
	}
	if v.GetVentilation() != "" {
		p.line("ventilation: %s", v.GetVentilation())
	}
	p.list("ways of a fumigant closed", v.GetClosedPaths())
	if v.GetFireWatchUntilUnixMs() > 0 {
		p.line("fire watch until %s at the earliest", p.a.ends(v.GetFireWatchUntilUnixMs()))
	}
	var rows [][]string
	for _, i := range v.GetInside() {
		named := "yes"
		if i.GetUnnamed() {
			named = "NO"
		}
		rows = append(rows, []string{i.GetRef(), i.GetPerson(), named, p.a.when(i.GetSinceUnixMs())})
	}
	p.table("inside, as signed on", []string{"SIGN-ON", "PERSON", "NAMED", "SINCE"}, rows)
	rows = nil
	for _, w := range v.GetWatches() {
		rows = append(rows, []string{w.GetRef(), w.GetPerson(), words.English.Word(ledger.DutyWord(w.GetDuty())), w.GetStation(), orDash(w.GetContact()), p.a.when(w.GetSinceUnixMs())})
	}
	p.table("standing watch", []string{"WATCH", "PERSON", "AS", "STATION", "IN TOUCH BY", "SINCE"}, rows)
	p.air(v)
	if inForce(v) {
		p.caution()
	}
	p.line("\n%s", NotPermission)
}

// air prints what was measured, how long ago, and what of it counts.
func (p *page) air(v *recordv1.PermitView) {
	var rows [][]string
	for _, r := range v.GetAir() {
		worth := "counts"
		switch {
		case r.GetOutOfLimits():
			worth = "OUT OF LIMITS"
		case r.GetLapsed():
			worth = "TOO OLD OR VOID: test again"
		}
		l, _ := ledger.AirLimitOf(r.GetAgent())
		old := time.Duration(r.GetAgeSeconds())*time.Second + p.kept
		rows = append(rows, []string{words.English.Word(ledger.LevelWord(r.GetLevel())), words.English.Word(l.Name), r.GetValue(), r.GetLimit(), worth, age(old), r.GetBy(), orDash(r.GetInstrument())})
	}
	p.table("the air", []string{"AT", "OF", "READ", "LIMIT", "WORTH", "TAKEN", "BY", "INSTRUMENT"}, rows)
	if v.GetAirDueUnixMs() > 0 {
		p.line("test the air again by %s", fmt.Sprint(p.a.ends(v.GetAirDueUnixMs())))
	}
}
