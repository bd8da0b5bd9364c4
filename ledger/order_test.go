package ledger

import (
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
)

// upward is the most calls between files that may run upwards.
const upward = 60

// order is the order of the files, the lowest first: a file calls what stands before
// it. Where two subjects need each other, the fewer calls run upwards.
var order = []string{
	"say.go", "tickets.go", "names.go", "mark.go", "journalref.go", "state.go", "may.go", "kind.go", "shape.go",
	"enumword.go", "ended.go", "clone.go", "calendar.go", "hold.go", "tag.go", "countersign.go", "keys.go",
	"entry.go", "authority.go", "apply.go", "outside.go", "equipment.go", "standclear.go", "training.go",
	"signon.go", "air.go", "view_outside.go", "limits.go", "place.go", "doc.go", "presence.go", "verified.go",
	"roles.go", "watch.go", "request.go", "view_request.go", "journal.go", "choke.go", "permit.go", "register.go", "remark.go",
	"point.go", "started.go", "padlock.go", "padlockfit.go", "view_lock.go", "takeover.go", "people.go",
	"procedure.go", "job.go", "proof.go", "stored.go", "notice.go", "againststart.go", "inspection.go",
	"view_people.go", "fumigation.go", "founding.go", "exception.go", "energise.go", "drawing.go", "crew.go",
	"lock.go", "narrow.go", "box.go", "airreading.go", "binentry.go", "hotwork.go", "view_permit.go",
	"removal.go", "workmaystart.go", "stage.go", "view_job.go", "view_board.go", "recovery.go", "handover.go",
}

// TestCallsRunDownwards counts the calls from a file to one that stands after it in
// the order, and prints each.
func TestCallsRunDownwards(t *testing.T) {
	calls, files := callsBetweenFiles(t)
	for _, f := range files {
		if !slices.Contains(order, f) {
			t.Errorf("the order of the files lacks %s: put it where its calls run downwards", f)
		}
	}
	for _, f := range order {
		if !slices.Contains(files, f) {
			t.Errorf("the order names %s, which is no file", f)
		}
	}
	all, up := 0, []string{}
	for _, c := range calls {
		all++
		if slices.Index(order, c.from) < slices.Index(order, c.to) {
			up = append(up, c.String())
		}
	}
	sort.Strings(up)
	for _, c := range up {
		t.Log(c)
	}
	t.Logf("%d of %d calls between files run upwards", len(up), all)
	if len(up) >= upward {
		t.Errorf("%d calls run upwards; they are to be under %d", len(up), upward)
	}
}

type call struct {
	from, to, name string
	line           int
}

func (c call) String() string {
	return fmt.Sprintf("%s:%d calls %s of %s", c.from, c.line, c.name, c.to)
}

// callsBetweenFiles lists every call of a function or method of this package from
// another of its files.
func callsBetweenFiles(t *testing.T) ([]call, []string) {
	fset := token.NewFileSet()
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var files []*ast.File
	var own []string
	for _, n := range names {
		if strings.HasSuffix(n, "_test.go") {
			continue
		}
		src, err := os.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		f, err := parser.ParseFile(fset, n, src, 0)
		if err != nil {
			t.Fatal(err)
		}
		files, own = append(files, f), append(own, n)
	}
	info := &types.Info{Uses: map[*ast.Ident]types.Object{}}
	conf := types.Config{Importer: nothing{importer.Default()}, Error: func(error) {}}
	pkg, _ := conf.Check("yardhasp/ledger", fset, files, info) // what is imported is left out
	var out []call
	for _, f := range files {
		from := fset.Position(f.Pos()).Filename
		ast.Inspect(f, func(n ast.Node) bool {
			c, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			var id *ast.Ident
			switch fn := c.Fun.(type) {
			case *ast.Ident:
				id = fn
			case *ast.SelectorExpr:
				id = fn.Sel
			default:
				return true
			}
			obj, ok := info.Uses[id].(*types.Func)
			if !ok || obj.Pkg() != pkg {
				return true
			}
			if to := fset.Position(obj.Pos()).Filename; to != from {
				out = append(out, call{from, to, obj.Name(), fset.Position(c.Pos()).Line})
			}
			return true
		})
	}
	return out, own
}

// nothing imports empty packages: only calls inside this package are asked about.
type nothing struct{ types.Importer }

func (nothing) Import(path string) (*types.Package, error) {
	p := types.NewPackage(path, path[strings.LastIndex(path, "/")+1:])
	p.MarkComplete()
	return p, nil
}
