package clauses

import (
	"fmt"
	"go/ast"
	"go/build/constraint"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// tests is what one package tests by itself, without any build tag.
type tests struct {
	// says are the string literals of each test function.
	says map[string]map[string]bool
	// tables are the string literals of the package's variables: a table's names.
	tables map[string]bool
	// scripts are the folders of scripts that a test plays.
	scripts map[string][]string
	// folders are those of scripts that the package names for all its tests.
	folders []string
}

type tree map[string]*tests

// repository reads every test file of the repository.
func repository(t *testing.T) tree {
	t.Helper()
	out := tree{}
	err := sources(func(name string, f *ast.File) error {
		if !strings.HasSuffix(name, "_test.go") || tagged(f) {
			return nil
		}
		dir := path.Dir(name)
		p := out[dir]
		if p == nil {
			p = &tests{says: map[string]map[string]bool{}, tables: map[string]bool{}, scripts: map[string][]string{}}
			out[dir] = p
		}
		for _, d := range f.Decls {
			fn, isFunc := d.(*ast.FuncDecl)
			switch {
			case isFunc && fn.Recv == nil && strings.HasPrefix(fn.Name.Name, "Test"):
				said := literals(fn)
				p.says[fn.Name.Name] = said
				for s := range said {
					if dir := path.Join(dir, s); strings.Contains(s, "/") && isDir(dir) {
						p.scripts[fn.Name.Name] = append(p.scripts[fn.Name.Name], dir)
					}
				}
			case !isFunc:
				for s := range literals(d) {
					p.tables[s] = true
					if dir := path.Join(dir, s); strings.Contains(s, "/") && isDir(dir) {
						p.folders = append(p.folders, dir)
					}
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 10 {
		t.Fatalf("tests in %d packages only: this is not the repository", len(out))
	}
	return out
}

var testName = regexp.MustCompile(`^([a-z0-9/]+)/(Test[A-Za-z0-9]+)(?:/(.+))?$`)

// find says why a test is not there, nil when it is. A subtest is there when its
// name stands in the function or in a table of its package, or is a script or a story
// that it plays.
func (r tree) find(name string) error {
	m := testName.FindStringSubmatch(name)
	if m == nil {
		return fmt.Errorf("%q is no package/TestName or package/TestName/subtest", name)
	}
	p := r[m[1]]
	if p == nil {
		return fmt.Errorf("%s: no package %s with tests", name, m[1])
	}
	said, ok := p.says[m[2]]
	if !ok {
		return fmt.Errorf("%s: %s has no %s that runs without a build tag", name, m[1], m[2])
	}
	if m[3] == "" || said[m[3]] || p.tables[m[3]] {
		return nil
	}
	for _, dir := range slices.Concat(p.scripts[m[2]], p.folders) {
		if _, err := os.Stat(filepath.Join(root, dir, m[3]+".txtar")); err == nil || tells(dir, m[3]) {
			return nil
		}
	}
	return fmt.Errorf("%s: %s has no subtest %q", name, m[2], m[3])
}

// tells reports whether a file of stories in a folder has the one named "file/story".
func tells(dir, name string) bool {
	file, title, _ := strings.Cut(name, "/")
	text, err := os.ReadFile(filepath.Join(root, dir, file+".story"))
	return err == nil && slices.Contains(strings.Split(string(text), "\n"), "story "+title)
}

func isDir(name string) bool {
	s, err := os.Stat(filepath.Join(root, name))
	return err == nil && s.IsDir()
}

// tagged reports whether a file is built only with a tag.
func tagged(f *ast.File) bool {
	for _, g := range f.Comments {
		for _, c := range g.List {
			if c.Pos() < f.Package && constraint.IsGoBuild(c.Text) {
				return true
			}
		}
	}
	return false
}

// literals are the strings that stand in a piece of code.
func literals(n ast.Node) map[string]bool {
	out := map[string]bool{}
	ast.Inspect(n, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
			if s, err := strconv.Unquote(l.Value); err == nil {
				out[s] = true
			}
		}
		return true
	})
	return out
}

// sources reads every Go file of the repository, generated ones left out, by its
// name from the root.
func sources(do func(name string, f *ast.File) error) error {
	return fs.WalkDir(os.DirFS(root), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && name != "." && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, ".pb.go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root, name), nil, parser.ParseComments)
		if err != nil {
			return err
		}
		return do(name, f)
	})
}

// TestClausesNamed: names that are not there are missed.
func TestClausesNamed(t *testing.T) {
	named := repository(t)
	for name, there := range map[string]bool{
		"ledger/TestClauses":                        true,
		"ledger/TestClauses/1910.147(d)(3)":         true,
		"ledger/TestClauses/1910.147(c)(10)":        false,
		"ledger/TestNoSuch":                         false,
		"nowhere/TestClauses":                       false,
		"ledger":                                    false,
		"TestClauses":                               false,
		"cmd/scenarios/TestScenarios/bin-entry":     true,
		"cmd/scenarios/TestScenarios/no-such-story": false,
		"ledger/TestStories/removal/a manager removes no lock of their own": true,
		"ledger/TestStories/removal/no such story":                          false,
		"ledger/TestStories/removal":                                        false,
		"cmd/yardhaspd/demo/TestNetnsLinkDown":                              false, // needs a build tag
		"ledger/TestBinEntryConditions/walking down grain":                  true,
	} {
		if err := named.find(name); (err == nil) != there {
			t.Errorf("%s: %v", name, err)
		}
	}
}
