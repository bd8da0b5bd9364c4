package readme

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var (
	// named is a file of the repository between back quotes: one, {several}, or *.
	named = regexp.MustCompile("`((?:client|cmd|ledger|proto|replica|testdata)/[^` ]*\\.[a-z0-9]+)`")
	link  = regexp.MustCompile(`\]\(([^):#]+)\)`)
	few   = regexp.MustCompile(`^(.*)\{(.*)\}(.*)$`)
)

// TestNamedFilesExist: every file that a page names or links to is there.
func TestNamedFilesExist(t *testing.T) {
	const root = "../.."
	n := 0
	there := func(page, pattern string) {
		n++
		found, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(pattern)))
		if err != nil || len(found) == 0 {
			t.Errorf("%s names %s, which is not there: %v", page, pattern, err)
		}
	}
	for _, page := range Pages {
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(page)))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range named.FindAllStringSubmatch(string(text), -1) {
			list := few.FindStringSubmatch(m[1])
			if list == nil {
				there(page, m[1])
				continue
			}
			for name := range strings.SplitSeq(list[2], ",") {
				there(page, list[1]+name+list[3])
			}
		}
		for _, m := range link.FindAllStringSubmatch(string(text), -1) {
			there(page, filepath.ToSlash(filepath.Join(filepath.Dir(page), m[1])))
		}
	}
	if n < 100 {
		t.Errorf("%d names were found: the pages are not read as they are written", n)
	}
}

// maxContributors is how long the page for contributors may be, in bytes: it is a
// map, and what is about one package belongs into that package's comment.
const maxContributors = 20_480

// TestPagesAreShort: a decision of this repository; no source.
func TestPagesAreShort(t *testing.T) {
	page, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	if len(page) > maxContributors {
		t.Errorf("DEVELOPERS.md has %d bytes, more than %d: move what is about one package into its comment", len(page), maxContributors)
	}
	front, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	if lines := strings.Count(string(front), "\n"); lines > 125 {
		t.Errorf("README.md has %d lines, more than 125: move what is about one program into that program's README", lines)
	}
}
