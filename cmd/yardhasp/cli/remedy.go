package cli

import (
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// recordedBy is the command that records what meets a condition, by the condition's
// code. A condition is left out if no record meets it, or if the command is not always
// the same.
var recordedBy = map[string]string{
	"AIR_NOT_TESTED":           "reading --kind air",
	"AIR_OLD":                  "reading --kind air",
	"AIR_OUT_OF_LIMITS":        "reading --kind air",
	"AIR_VOID":                 "reading --kind air",
	"CHOKED":                   "clear-choke",
	"ENTRANT_NOT_TRAINED":      "person training --class bin-entry",
	"FOUND_LIVE":               "correct",
	"FOUND_STARTED":            "correct",
	"FUMIGATED":                "fumigation cleared",
	"HOLD_STANDS":              "release",
	"KEY_OF_NO_LOCK":           "lock",
	"NOT_APPROVED":             "request list",
	"NOT_CLEAR":                "clear",
	"NOT_OPEN":                 "isolate",
	"NOT_PROVED":               "reading",
	"NOT_SHUT_DOWN":            "shut-down",
	"NOT_TOLD":                 "notice",
	"NOT_TRIED":                "tried",
	"NOT_WALKED":               "drawing walk",
	"NO_COORDINATOR":           "job coordinator",
	"NO_DRAWING":               "drawing publish",
	"NO_EXCHANGE":              "exchange draft",
	"NO_FIRE_WATCH":            "permit fire-watch",
	"NO_LOCK":                  "lock",
	"NO_OBSERVER":              "permit observe",
	"NO_PERMIT":                "permit bin-entry",
	"NO_PROCEDURE":             "procedure publish",
	"OBSERVER_NOT_TRAINED":     "person training --class observer-rescue",
	"RECHECK":                  "stored",
	"REMOVAL_NOT_ACKNOWLEDGED": "removal acknowledge",
	"RETRAIN":                  "person training --covers",
	"SIGNED_ON":                "sign-off",
	"STILL_INSIDE":             "sign-off",
	"STORED":                   "stored",
	"TRAINING_LAPSED":          "person training",
}

// remedyOf says what would meet a condition, with the command that records it.
func (a *App) remedyOf(c *recordv1.Finding) string {
	w := a.words()
	if remedy, next := w.Remedy(c), w.Next(c); next != "" {
		if remedy == "" {
			return "\"" + next + "\""
		}
		return remedy + ": \"" + next + "\""
	}
	return guessed(c, w.Remedy(c))
}

// guessed adds the command from recordedBy for a finding that names no command itself.
func guessed(c *recordv1.Finding, remedy string) string {
	words := recordedBy[c.GetCode()]
	switch {
	case remedy == "" || words == "":
		return remedy
	case c.GetCode() == "HOLD_STANDS" && strings.Contains(c.GetText(), "not known"):
		words = "claim draft"
	case c.GetCode() == "NO_PERMIT" && strings.Contains(c.GetText(), "by this name"):
		words = "job open"
	case c.GetCode() == "NOT_TOLD" && strings.Contains(c.GetText(), "after the last lock"):
		words += " --after"
	case c.GetCode() == "NOT_TOLD":
		words += " --before"
	}
	return remedy + ": \"yardhasp " + words + "\""
}
