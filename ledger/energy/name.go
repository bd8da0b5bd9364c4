package energy

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// These limit one drawing. A drawing beyond them is refused.
const (
	MaxNodes = 200_000
	MaxLinks = 200_000
	MaxZones = 20_000
	// MaxParts limits the exposed parts of one zone, and the machines that one control
	// starts.
	MaxParts = 1_000
	// MaxName limits a name and MaxText a free text, in bytes.
	MaxName = 64
	MaxText = 2_000
	// maxProblems limits the problems that one check returns, and separately the
	// warnings.
	maxProblems = 200
)

// ValidName reports whether s may name a yard, node, link, zone, panel or
// device: lower-case letters, digits and hyphens, beginning with a letter or a
// digit, at most MaxName bytes.
func ValidName(s string) bool {
	if s == "" || len(s) > MaxName || s[0] == '-' {
		return false
	}
	for i := 0; i < len(s); i++ {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// qualify turns a name as written in yard's drawing into an id. It reports whether the
// name is well formed.
func qualify(yard, ref string) (id string, ok bool) {
	far, name, slash := strings.Cut(ref, "/")
	if !slash {
		return yard + "/" + ref, ValidName(ref)
	}
	return ref, ValidName(far) && ValidName(name)
}

// yardOf returns the yard of an id.
func yardOf(id string) string {
	yard, _, _ := strings.Cut(id, "/")
	return yard
}

// plain reports whether s may be a free text: valid UTF-8 of limited length, without
// control characters. Those could forge a line on a screen.
func plain(s string) bool {
	if len(s) > MaxText || !utf8.ValidString(s) {
		return false
	}
	for _, r := range s {
		if unicode.IsControl(r) {
			return false
		}
	}
	return true
}

func blank(s string) bool { return strings.TrimSpace(s) == "" }
