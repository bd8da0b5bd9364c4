package cli

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/spf13/cobra"

	"yardhasp/ledger"
)

// Every command that prints a result is in one of these two tables. A screen or an
// export that somebody could take for leave to work or to start carries the caution
// (ledger.Caution) or NotPermission: design.md, rule 7. A command that is in neither
// table fails the test.
var cautioned = map[string][]string{
	"plan":             {"plan stonebend/leg-2-boot", "plan stonebend/leg-2-boot --drawing $COOP/stonebend.yaml", "plan stonebend/leg-2-boot --drawing $COOP/stonebend.yaml --alternatives 3"},
	"procedure":        {"procedure stonebend/leg-2-boot $COOP/stonebend.yaml"},
	"live":             {"live"},
	"panel":            {"panel millrow/mcc-1/leg"},
	"board":            {"board", "board --local", "board --offline", "board --job none"},
	"job list":         {"job list"},
	"job show":         {"job show may", "job show boot-7", "job show may --local"},
	"request list":     {"request list"},
	"shift":            {"shift"},
	"visit":            {"visit may", "visit boot-7 --local"},
	"permit list":      {"permit list", "permit list --local"},
	"permit show":      {"permit show crust-3-a"},
	"permit bin-entry": {"permit bin-entry crust-3-a --job crust-3 --hours 4 --entrants ben-ito --observers mia-berg --looked-clear"},
	"permit hot-work":  {"permit hot-work weld-4 --job boot-7 --hours 2 --place door --workers ben-ito --fire-watch joe-lund"},
	"request":          {"request r-9 --job may --point stonebend/mcc-1/leg-2"},
	"energise":         {"energise millrow/mcc-1/leg --request r-1"},
	"history":          {"history --profile $DIR/week.yaml", "history --from-file $DIR/week.yardhasp --ledger $WEEK", "history --from-file $DIR/week.yardhasp --ledger $WEEK -o json", "history --from-file $DIR/week.yardhasp --ledger $WEEK --as csv", "history --from-file $DIR/week.yardhasp --ledger $WEEK --as jsonl", "history --from-file $DIR/week.yardhasp --ledger $WEEK --as report --job none"},
	"verify":           {"verify $DIR/week.yardhasp --ledger $WEEK"},
	"drawing narrow":   {"drawing narrow millrow/tunnel", "drawing narrow stonebend/pit"},
	"drawing picture":  {"drawing picture stonebend/leg-2-boot $COOP/stonebend.yaml", "drawing picture stonebend/leg-2-boot $COOP/stonebend.yaml --dot"},
	"export":           {"export $DIR/out.yardhasp --profile $DIR/week.yaml", "export $DIR/two.yardhasp --profile $DIR/week.yaml -o json"},
}

// uncautioned print no plan, permission or history: receipts of facts, lists of
// people and machines, checks of files. Why each may do without is its kind.
var uncautioned = map[string]string{
	"status": "machines", "watch": "a stream of lines for programs", "receipt": "a receipt carries it by its kind: TestCaution", "version": "machines", "checkpoint": "a signed note, kept byte by byte",
	"lock": "fact", "found-lock": "fact", "release": "fact", "tried": "fact", "isolate": "fact", "closed": "fact", "found-closed": "fact", "found-started": "fact",
	"sign-on": "fact", "sign-off": "fact", "shut-down": "fact", "reading": "fact", "found-live": "fact", "correct": "fact", "stored": "fact", "notice": "fact", "clear": "fact", "stand-clear": "fact", "remark": "fact",
	"job open": "fact", "job close": "fact", "withdraw": "fact", "removal draft": "draft", "removal acknowledge": "fact", "hand-over draft": "draft", "claim draft": "draft", "countersign": "draft", "exchange draft": "draft", "job attest": "fact", "job coordinator": "registry", "job crew": "registry", "job verified": "fact", "person due": "registry", "procedure approve": "registry", "procedure inspect": "registry", "procedure list": "registry", "procedure text": "the text as it was approved, kept byte by byte", "procedure publish": "registry", "procedure require": "registry", "clear-choke": "fact", "found-choked": "fact", "padlock clear": "registry", "padlock issue": "registry", "padlock key": "registry", "padlock list": "registry", "padlock report": "registry", "padlock return": "registry", "point describe": "registry", "review-lock": "fact", "take-over draft": "draft", "recover-yard": "draft", "permit observe": "fact", "permit fire-watch": "fact", "permit leave-watch": "fact", "permit hot-work-done": "fact", "permit close": "fact", "fumigation record": "fact", "fumigation cleared": "fact", "send": "fact",
	"invite person": "registry", "invite yard": "registry", "join": "registry", "key new": "registry", "key show": "registry", "key replace": "registry", "person list": "registry", "person training": "registry",
	"person revoke-key": "registry", "person reissue-key": "registry", "padlock add": "registry", "point add": "registry", "box add": "registry", "box put": "fact", "box take": "fact",
	"drawing check": "files", "drawing publish": "registry", "drawing walk": "registry", "drawing show": "files", "drawing diff": "files", "outbox list": "machines", "outbox send": "fact",
}

func TestCautionOnEveryScreen(t *testing.T) {
	dir := t.TempDir()
	env := map[string]string{"DIR": dir}
	var later []func()
	err := fixture(dir, func(f func()) { later = append(later, f) }, func(k, v string) {
		env[k] = v
		if strings.HasPrefix(k, "XDG_") {
			t.Setenv(k, v)
		}
	})
	t.Cleanup(func() {
		for _, f := range later {
			f()
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	env["YARDHASP_PROFILE"] = filepath.Join(dir, "up.yaml")
	for _, path := range leaves(t) {
		lines, must := cautioned[path]
		why, free := uncautioned[path]
		if must == free || free && why == "" {
			t.Errorf("%q is a new command, or in both tables: say whether its screen carries the caution", path)
			continue
		}
		for _, l := range lines {
			var out, errs bytes.Buffer
			a := &App{Out: &out, Err: &errs, Env: func(k string) string { return env[k] }, Now: func() time.Time { return time.UnixMilli(1790000400000) }}
			var words []string
			for _, w := range strings.Fields(l) {
				for k, v := range env {
					w = strings.ReplaceAll(w, "$"+k, v)
				}
				words = append(words, w)
			}
			code := a.Run(t.Context(), words)
			flat := strings.Join(strings.Fields(out.String()), " ")
			// A picture breaks the line into elements of its own: its test compares it whole.
			if strings.HasPrefix(l, "drawing picture") && strings.Contains(flat, "CAUTION: this is a record, not protection.") {
				continue
			}
			if !strings.Contains(flat, ledger.Caution) && !strings.Contains(flat, NotPermission) {
				t.Errorf("%s (exit code %d) carries neither the caution nor %q:\n%s%s", l, code, NotPermission, out.String(), errs.String())
			}
		}
	}
}

// leaves are the commands that do something.
func leaves(t *testing.T) []string {
	a, _ := testApp(nil)
	root := a.root()
	var out []string
	var walk func(c *cobra.Command)
	walk = func(c *cobra.Command) {
		for _, s := range c.Commands() {
			walk(s)
		}
		// A command of others does nothing but help, save "request".
		if c == root || c.Name() == "help" || c.Name() == "completion" || c.Parent().Name() == "completion" || c.IsAdditionalHelpTopicCommand() || c.HasSubCommands() && c.Name() != "request" {
			return
		}
		out = append(out, strings.TrimPrefix(c.CommandPath(), "yardhasp "))
	}
	walk(root)
	if len(out) < 50 {
		t.Fatalf("only %d commands were found", len(out))
	}
	return out
}
