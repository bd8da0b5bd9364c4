package cli

import (
	"strings"

	"github.com/spf13/cobra"
)

// otherWords are words that people often type, and the commands that they look for.
var otherWords = map[string][]string{
	"acknowledge": {"removal acknowledge"},
	"close":       {"closed", "job close"},
	"energize":    {"energise"},
	"enter":       {"sign-on"},
	"handover":    {"hand-over"},
	"keys":        {"key", "padlock key"},
	"leave":       {"sign-off"},
	"locks":       {"board", "padlock list"},
	"open":        {"isolate", "job open"},
	"people":      {"person"},
	"permits":     {"permit"},
	"remove":      {"removal", "release"},
	"requests":    {"request list"},
	"restart":     {"request"},
	"shutdown":    {"shut-down"},
	"signoff":     {"sign-off"},
	"signon":      {"sign-on"},
	"start":       {"request"},
	"takeover":    {"take-over"},
	"test":        {"reading", "request --for test"},
	"unlock":      {"release"},
}

// meant names the commands that an unknown word may stand for. No command is run by a
// guess.
func meant(c *cobra.Command, word string) string {
	var found []string
	c.SuggestionsMinimumDistance = 2
	if c.HasParent() {
		found = c.SuggestionsFor(word)
	} else if found = otherWords[strings.ToLower(word)]; len(found) == 0 {
		found = c.SuggestionsFor(word)
	}
	if len(found) == 0 {
		return ""
	}
	path := c.CommandPath() + " "
	return ": meant is perhaps \"" + path + strings.Join(found, "\" or \""+path) + "\""
}
