package ledger

import (
	"strconv"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// AirLimit is the limit of one agent in the air for people to go in or stay in. Figures
// are thousandths of the unit, as in the records, so that no rounding decides. Some
// limits in the sources are averages over a shift. Here no value may ever pass them,
// which is stricter.
type AirLimit struct {
	Agent recordv1.AirAgent
	// Name is the catalogue word for the agent, such as "combustible-gas".
	Name string
	// Unit is the catalogue word for the unit of a value: "%", "% LFL" (of the lower
	// flammable limit) or "ppm".
	Unit string
	// Low and High are themselves acceptable. Low is 0 when there is no lower limit.
	Low, High int64
	// Source is where the figures come from.
	Source string
}

// AirLimits has one row for each agent, in the order of the contract.
var AirLimits = []AirLimit{
	// 1910.146(b), "hazardous atmosphere": below 19.5 % or above 23.5 %;
	// 1910.272(g)(1)(iii) for the low side.
	{recordv1.AirAgent_AIR_AGENT_OXYGEN, "oxygen", "%", 19_500, 23_500, "1910.146(b); 1910.272(g)(1)(iii)"},
	// 1910.146(b): in excess of 10 % of the lower flammable limit.
	{recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS, "combustible-gas", "% LFL", 0, 10_000, "1910.146(b)"},
	// 1910.1000 Table Z-1: 50 ppm over a shift.
	{recordv1.AirAgent_AIR_AGENT_CARBON_MONOXIDE, "carbon-monoxide", "ppm", 0, 50_000, "1910.1000 Table Z-1"},
	// 1910.1000 Table Z-1: 5,000 ppm over a shift.
	{recordv1.AirAgent_AIR_AGENT_CARBON_DIOXIDE, "carbon-dioxide", "ppm", 0, 5_000_000, "1910.1000 Table Z-1"},
	// 1910.1000 Table Z-2: ceiling 20 ppm. NIOSH's own ceiling is 10 ppm.
	{recordv1.AirAgent_AIR_AGENT_HYDROGEN_SULFIDE, "hydrogen-sulfide", "ppm", 0, 20_000, "1910.1000 Table Z-2"},
	// 1910.1000 Table Z-1: ceiling 5 ppm.
	{recordv1.AirAgent_AIR_AGENT_NITROGEN_DIOXIDE, "nitrogen-dioxide", "ppm", 0, 5_000, "1910.1000 Table Z-1"},
	// 1910.1000 Table Z-1: 0.3 ppm over a shift. Its 10 % of the lower flammable
	// limit would be 1,790 ppm, far past what kills (NIOSH 7803-51-2: 50 ppm).
	{recordv1.AirAgent_AIR_AGENT_PHOSPHINE, "phosphine", "ppm", 0, 300, "1910.1000 Table Z-1"},
}

const (
	// maxPermit is how long a permit may run, in ms: one shift. 1910.272(g)(1)(i) keeps
	// it on file until the entry ends and gives no number of hours (common practice, no
	// source).
	maxPermit = 12 * 60 * 60 * 1000
	// maxAirEvery is the longest time between tests of the air while people are inside,
	// in seconds. 1910.272(g)(1)(iii) gives no number (common practice, no source).
	maxAirEvery = 30 * 60
	// minAirEvery is the shortest such time, in seconds. A typing slip below it would
	// suspend a permit at once (common practice, no source).
	minAirEvery = 60
	// signedAhead is how old an issuer's signature may be when the ledger takes it, in
	// ms. The issuer saw what it certifies at that time (common practice, no source).
	signedAhead = 15 * 60 * 1000
	// fireWatchAfter is how long a fire watch goes on after hot work, in ms. NFPA 51B
	// asks for an hour, 1910.252(a)(2)(iii)(B) for half an hour (both from memory).
	fireWatchAfter = 60 * 60 * 1000
)

// always are the agents tested before every bin entry. 1910.272(g)(1)(iii) asks for
// oxygen unless air moves through all the time. It asks for the others where there is
// reason to think they are present. The fan is locked out, so oxygen is never assumed.
// Stored grain that spoils uses up oxygen and gives off carbon dioxide and carbon
// monoxide (common practice, no source).
var always = []recordv1.AirAgent{recordv1.AirAgent_AIR_AGENT_OXYGEN, recordv1.AirAgent_AIR_AGENT_COMBUSTIBLE_GAS,
	recordv1.AirAgent_AIR_AGENT_CARBON_MONOXIDE, recordv1.AirAgent_AIR_AGENT_CARBON_DIOXIDE}

// entryLevels are the levels where air is tested before a bin entry. Gases lie in
// layers, and carbon dioxide lies low (common practice, no source).
var entryLevels = []recordv1.AirLevel{recordv1.AirLevel_AIR_LEVEL_TOP, recordv1.AirLevel_AIR_LEVEL_MIDDLE, recordv1.AirLevel_AIR_LEVEL_BOTTOM}

// AirLimitOf finds the row of an agent. It returns false for an agent without one.
func AirLimitOf(a recordv1.AirAgent) (AirLimit, bool) {
	for _, l := range AirLimits {
		if l.Agent == a {
			return l, true
		}
	}
	return AirLimit{}, false
}

// Outside reports whether a value is past the limit.
func (l AirLimit) Outside(thousandths int64) bool { return thousandths < l.Low || thousandths > l.High }

// clause is the rule on the air, with the source of the figures.
func (l AirLimit) clause() string {
	if strings.Contains(l.Source, airClause) {
		return l.Source
	}
	return airClause + "; " + l.Source
}

// lowText is the lower limit, or "" when there is none.
func (l AirLimit) lowText() string {
	if l.Low == 0 {
		return ""
	}
	return Thousandths(l.Low)
}

// Text writes a value with its unit, such as "20.8 %".
func (l AirLimit) Text(thousandths int64) string { return Thousandths(thousandths) + " " + l.Unit }

// LimitText writes the limit, such as "19.5 to 23.5 %" or "at most 0.3 ppm".
func (l AirLimit) LimitText() string {
	if l.Low > 0 {
		return Thousandths(l.Low) + " to " + l.Text(l.High)
	}
	return "at most " + l.Text(l.High)
}

// Thousandths writes a number of thousandths as a decimal: 20800 is "20.8".
func Thousandths(n int64) string {
	sign := ""
	if n < 0 {
		sign = "-"
	}
	// Work digit by digit. A float would round, and the lowest int64 has no positive.
	digits := strings.TrimPrefix(strconv.FormatInt(n, 10), "-")
	digits = strings.Repeat("0", max(0, 4-len(digits))) + digits
	whole, part := digits[:len(digits)-3], strings.TrimRight(digits[len(digits)-3:], "0")
	if part == "" {
		return sign + whole
	}
	return sign + whole + "." + part
}

// LevelWord is the catalogue word for where air was tested, such as "bottom".
func LevelWord(l recordv1.AirLevel) string { return enumWord(l, "AIR_LEVEL_") }

// agentOK reports whether this release knows an agent.
func agentOK(a recordv1.AirAgent) bool { return a != 0 && recordv1.AirAgent_name[int32(a)] != "" }
