package codes

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"yardhasp/client/words"
	"yardhasp/ledger/code"
	_ "yardhasp/replica" // with ledger and client: every code there is
)

// TestEveryCodeHasWords: of the whole program, and no words are left of a code that
// is gone.
func TestEveryCodeHasWords(t *testing.T) {
	for _, c := range code.Codes() {
		if words.English.Codes[c].Says == "" {
			t.Errorf("%s has no words", c)
		}
	}
	for c := range words.English.Codes {
		if _, ok := c.Row(); !ok {
			t.Errorf("%s has words and no row", c)
		}
	}
}

// TestCodesAreWrittenOnce: no text of the program equals a code, but for the one in
// its row: a name written a second time is a list that somebody forgets.
func TestCodesAreWrittenOnce(t *testing.T) {
	rows := map[string]string{}
	files(t, func(name string, fset *token.FileSet, f *ast.File) {
		own := map[token.Pos]bool{}
		ast.Inspect(f, func(n ast.Node) bool {
			c, ok := n.(*ast.CallExpr)
			if !ok || !isNew(c) {
				return true
			}
			lit, ok := c.Args[0].(*ast.BasicLit)
			if !ok {
				t.Errorf("%s: the name of a code is written out", fset.Position(c.Pos()))
				return true
			}
			text, _ := strconv.Unquote(lit.Value)
			if rows[text] != "" {
				t.Errorf("%s: %s has a row in %s already", fset.Position(c.Pos()), text, rows[text])
			}
			rows[text], own[lit.Pos()] = name, true
			return true
		})
		ast.Inspect(f, func(n ast.Node) bool {
			lit, ok := n.(*ast.BasicLit)
			if !ok || lit.Kind != token.STRING || own[lit.Pos()] {
				return true
			}
			text, _ := strconv.Unquote(lit.Value)
			if _, is := code.Code(text).Row(); is {
				t.Errorf("%s: %q is a code: name it by its row", fset.Position(lit.Pos()), text)
			}
			return true
		})
	})
	for _, c := range code.Codes() {
		if rows[string(c)] == "" {
			t.Errorf("%s has no row in the program's files", c)
		}
	}
}

// says are the functions that say a code, and at which argument the code's own
// arguments begin; the code stands first.
var says = map[string]int{"deny": 2, "note": 2, "did": 2}

// TestCodesGetTheirArguments: who says a code gives as many arguments as its row names.
func TestCodesGetTheirArguments(t *testing.T) {
	params := map[string]int{} // by variable
	files(t, func(name string, fset *token.FileSet, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			v, ok := n.(*ast.ValueSpec)
			if !ok || len(v.Names) != 1 || len(v.Values) != 1 {
				return true
			}
			if c, ok := v.Values[0].(*ast.CallExpr); ok && isNew(c) {
				text, _ := strconv.Unquote(c.Args[0].(*ast.BasicLit).Value)
				r, _ := code.Code(text).Row()
				params[v.Names[0].Name] = len(r.Params())
			}
			return true
		})
	})
	checked := 0
	files(t, func(name string, fset *token.FileSet, f *ast.File) {
		ast.Inspect(f, func(n ast.Node) bool {
			c, ok := n.(*ast.CallExpr)
			if !ok || c.Ellipsis.IsValid() {
				return true
			}
			said, args := said(c)
			want, known := params[said]
			if !known {
				return true
			}
			checked++
			if args != want {
				t.Errorf("%s: %s takes %d arguments and is given %d", fset.Position(c.Pos()), said, want, args)
			}
			return true
		})
	})
	if checked < len(params) {
		t.Errorf("%d places say a code, and there are %d codes: the test looks past them", checked, len(params))
	}
}

// said is the variable of the code that a call says, and how many arguments it gives.
func said(c *ast.CallExpr) (string, int) {
	sel, ok := c.Fun.(*ast.SelectorExpr)
	if !ok {
		return "", 0
	}
	if sel.Sel.Name == "About" && len(c.Args) > 0 {
		return last(sel.X), len(c.Args) - 1
	}
	if from, is := says[sel.Sel.Name]; is && len(c.Args) >= from {
		return last(c.Args[0]), len(c.Args) - from
	}
	return "", 0
}

// last is the name that an expression ends in: HoldStands of ledger.HoldStands.
func last(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}

func isNew(c *ast.CallExpr) bool {
	sel, ok := c.Fun.(*ast.SelectorExpr)
	if !ok || sel.Sel.Name != "New" || len(c.Args) != 2 {
		return false
	}
	x, ok := sel.X.(*ast.Ident)
	return ok && x.Name == "code"
}

// files reads every file of the program that people write, tests left out.
func files(t *testing.T, each func(name string, fset *token.FileSet, f *ast.File)) {
	t.Helper()
	root := filepath.Join("..", "..")
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if slices.Contains([]string{".git", "proto"}, d.Name()) {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		seen++
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		each(path, fset, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 100 {
		t.Fatalf("%d files were read: the test looks in the wrong place", seen)
	}
}
