package faults_test

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/anishathalye/porcupine"
)

// A register with compare-and-set, as in porcupine's own tests.
type registerOp struct {
	kind     string
	from, to string // cas; to alone: write
}

type registerAnswer struct {
	value   string
	ok      bool
	unknown bool
}

var register = porcupine.Model{
	Init: func() any { return "nil" },
	Step: func(s, in, out any) (bool, any) {
		o, a := in.(registerOp), out.(registerAnswer)
		switch o.kind {
		case ":read":
			return a.unknown || a.value == s.(string), s
		case ":write":
			return true, o.to
		}
		if s.(string) == o.from {
			return a.ok || a.unknown, o.to
		}
		return !a.ok || a.unknown, s
	},
}

// published reads a history of the Jepsen etcd set that comes with porcupine. An
// operation of unknown outcome ends after all others.
func published(t *testing.T, file string) []porcupine.Event {
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var events []porcupine.Event
	open := map[string]int{}
	id := 0
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		w := strings.Fields(lines.Text())
		if len(w) < 7 || w[1] != "jepsen.util" {
			continue
		}
		who, what, kind, value := w[3], w[4], w[5], strings.Join(w[6:], " ")
		switch what {
		case ":invoke":
			in := registerOp{kind: kind, to: value}
			if kind == ":cas" {
				from, to, _ := strings.Cut(strings.Trim(value, "[]"), " ")
				in = registerOp{kind, from, to}
			}
			open[who] = id
			events = append(events, porcupine.Event{Kind: porcupine.CallEvent, Value: in, Id: id})
			id++
		case ":ok", ":fail":
			n, called := open[who]
			if !called {
				t.Fatalf("%s answers and did not ask", who)
			}
			if value != ":timed-out" {
				events = append(events, porcupine.Event{Kind: porcupine.ReturnEvent, Value: registerAnswer{value: value, ok: what == ":ok"}, Id: n})
				delete(open, who)
			}
		}
	}
	for _, n := range open {
		events = append(events, porcupine.Event{Kind: porcupine.ReturnEvent, Value: registerAnswer{unknown: true}, Id: n})
	}
	if len(events) < 20 {
		t.Fatalf("%s has only %d events", file, len(events))
	}
	return events
}

// TestPublishedHistories: the checker says of published histories what is known
// of them (porcupine v1.3.1, test_data/jepsen and porcupine_test.go).
func TestPublishedHistories(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/anishathalye/porcupine").Output()
	if err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(strings.TrimSpace(string(dir)), "test_data", "jepsen")
	for file, want := range map[string]bool{"etcd_000.log": false, "etcd_001.log": false, "etcd_002.log": true, "etcd_003.log": false,
		"etcd_005.log": true, "etcd_006.log": false, "etcd_007.log": true, "etcd_018.log": true, "etcd_025.log": true} {
		if got := porcupine.CheckEvents(register, published(t, filepath.Join(data, file))); got != want {
			t.Errorf("%s: linearizable %v, published as %v", file, got, want)
		}
	}
}

// TestModel: the model of a point refuses what no point can have done.
func TestModel(t *testing.T) {
	board := func(live bool, holds ...string) step { return step{kind: "board", seen: newState(live, holds)} }
	at := func(call, ret int64, x step) porcupine.Operation {
		return porcupine.Operation{Input: x, Call: call, Return: ret}
	}
	lock := step{kind: "lock", hold: "a"}
	for name, c := range map[string]struct {
		ok bool
		h  []porcupine.Operation
	}{
		"a board after the lock shows it":          {true, []porcupine.Operation{at(1, 2, lock), at(3, 4, board(false, "a"))}},
		"a board after the lock leaves it out":     {false, []porcupine.Operation{at(1, 2, lock), at(3, 4, board(false))}},
		"a board beside the lock may":              {true, []porcupine.Operation{at(1, 4, lock), at(2, 3, board(false))}},
		"two boards that go back":                  {false, []porcupine.Operation{at(1, 9, lock), at(2, 3, board(false, "a")), at(4, 5, board(false))}},
		"energised under a lock":                   {false, []porcupine.Operation{at(1, 2, lock), at(3, 4, step{kind: "energise"})}},
		"energised, then locked, shown as guarded": {false, []porcupine.Operation{at(1, 2, step{kind: "energise"}), at(3, 9, lock), at(3, 9, step{kind: "guarded", hold: "a"})}},
		"a go-ahead on an open point":              {false, []porcupine.Operation{at(1, 2, step{kind: "isolate"}), at(3, 4, step{kind: "may close"})}},
	} {
		if got := porcupine.CheckOperations(onePoint, c.h); got != c.ok {
			t.Errorf("%s: linearizable %v, want %v", name, got, c.ok)
		}
	}
}
