// Package readme reads the commands that the pages for people show, so that the
// tests of each program hold them against the program.
package readme

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// Pages are the files that show commands, from the root of the repository.
var Pages = []string{"README.md", "DEVELOPERS.md", "cmd/yardhasp/README.md", "cmd/yardhaspd/README.md"}

// Command is one command line as a page shows it.
type Command struct {
	// Where is page:line, Section the heading that it stands under.
	Where, Section string
	// Args are its words, the program first.
	Args []string
	// Whole is false where the page leaves words out: at "..." at its end, or in the
	// middle of a sentence.
	Whole bool
}

var (
	inSentence = regexp.MustCompile("`(yardhaspd? [^`]+)`")
	goRun      = regexp.MustCompile(`\bgo run \./cmd/(yardhaspd?)\b`)
)

// Commands lists every command of the two programs that the pages show: in blocks
// (lines that begin with four spaces) and in sentences (between back quotes).
func Commands(root string) ([]Command, error) {
	var out []Command
	for _, page := range Pages {
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(page)))
		if err != nil {
			return nil, err
		}
		section, begun, at := "", "", 0
		for i, line := range strings.Split(goRun.ReplaceAllString(string(text), "$1"), "\n") {
			if heading, ok := strings.CutPrefix(line, "#"); ok {
				section = strings.TrimLeft(heading, "# ")
				continue
			}
			block, isBlock := strings.CutPrefix(line, "    ")
			if !isBlock {
				for _, m := range inSentence.FindAllStringSubmatch(line, -1) {
					out = keep(out, Command{fmt.Sprintf("%s:%d", page, i+1), section, strings.Fields(m[1]), false})
				}
				continue
			}
			if begun == "" {
				at = i + 1
			}
			if begun += block; strings.HasSuffix(begun, `\`) {
				begun = strings.TrimSuffix(begun, `\`)
				continue
			}
			for _, args := range split(begun) {
				out = keep(out, Command{fmt.Sprintf("%s:%d", page, at), section, args, true})
			}
			begun = ""
		}
	}
	return out, nil
}

// keep adds a command of the two programs; one in capitals stands for any.
func keep(list []Command, c Command) []Command {
	if len(c.Args) == 0 || c.Args[0] != "yardhasp" && c.Args[0] != "yardhaspd" || len(c.Args) > 1 && c.Args[1] == "COMMAND" {
		return list
	}
	if last := len(c.Args) - 1; c.Args[last] == "..." && !strings.HasPrefix(c.Args[last-1], "--") {
		c.Args, c.Whole = c.Args[:last], false
	}
	return append(list, c)
}

// split cuts a line into commands and words as a shell would, as far as the pages
// need it: quotes, comments, && ; | between commands, and > FILE at the end.
func split(line string) [][]string {
	var out [][]string
	var args []string
	var word strings.Builder
	inWord, quote := false, rune(0)
	endWord := func() {
		if inWord {
			args = append(args, word.String())
		}
		word.Reset()
		inWord = false
	}
	endCommand := func() {
		endWord()
		for i, a := range args {
			if a == ">" {
				args = args[:i]
				break
			}
		}
		if len(args) > 0 {
			out = append(out, args)
		}
		args = nil
	}
	for _, r := range line {
		switch {
		case quote != 0 && r == quote:
			quote = 0
		case quote == 0 && (r == '"' || r == '\''):
			quote, inWord = r, true
		case quote != 0:
			word.WriteRune(r)
		case r == ' ':
			endWord()
		case r == '#' && !inWord:
			endCommand()
			return out
		case r == ';' || r == '&' || r == '|':
			endCommand()
		default:
			inWord = true
			word.WriteRune(r)
		}
	}
	endCommand()
	return out
}
