// Package wrap breaks long texts at spaces, with a hanging indent.
package wrap

import (
	"strings"
	"unicode/utf8"
)

// Lines breaks a text into lines of at most width characters. The first line begins with
// first, the others with rest. A word longer than a line stands whole on a line of its
// own: people must be able to copy a name or a root.
func Lines(text string, width int, first, rest string) []string {
	var out []string
	line, words := first, 0
	for _, word := range strings.Fields(text) {
		switch {
		case words == 0:
			line += word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
			line += " " + word
		default:
			out = append(out, line)
			line, words = rest+word, 0
		}
		words++
	}
	return append(out, strings.TrimRight(line, " "))
}
