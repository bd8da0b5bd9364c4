package ledger_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestDependencies keeps the ledger pure (design.md rule 5, decisions.md 30): the
// same entries must give the same state on every replica, for ever.
func TestDependencies(t *testing.T) {
	direct := map[string]string{
		"os":           "the ledger reads no disk and no environment",
		"net":          "the ledger speaks to nobody",
		"math/rand":    "chance would differ between replicas",
		"math/rand/v2": "chance would differ between replicas",
		"crypto/rand":  "chance would differ between replicas",
		"log":          "the ledger prints nothing: outcomes are data",
		"log/slog":     "the ledger prints nothing: outcomes are data",
		"time":         "time arrives in the entry; the ledger has no clock",
	}
	linked := map[string]string{
		"net":                            "something below pulls in the network",
		"github.com/hashicorp/raft":      "consensus belongs to replica",
		"github.com/dgraph-io/badger/v4": "storage belongs to replica",
		"google.golang.org/grpc":         "transport belongs to replica and client",
	}
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		for _, im := range f.Imports {
			p, _ := strconv.Unquote(im.Path.Value)
			if why, bad := direct[p]; bad {
				t.Errorf("%s imports %s: %s", path, p, why)
			}
			own := strings.HasPrefix(p, "yardhasp/ledger") || strings.HasPrefix(p, "yardhasp/proto/yardhasp/record/")
			outside := strings.Contains(strings.Split(p, "/")[0], ".")
			allowed := strings.HasPrefix(p, "golang.org/x/mod/") || strings.HasPrefix(p, "google.golang.org/protobuf/")
			if strings.HasPrefix(p, "yardhasp/") && !own || outside && !allowed {
				t.Errorf("%s imports %s: the ledger imports the standard library, the record contract and x/mod only", path, p)
			}
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if g, ok := n.(*ast.GoStmt); ok {
				t.Errorf("%s starts a goroutine at %v: order would differ between replicas", path, g.Pos())
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("go", "list", "-deps", "./...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range strings.Fields(string(out)) {
		if why, bad := linked[p]; bad {
			t.Errorf("ledger links %s: %s", p, why)
		}
	}
}
