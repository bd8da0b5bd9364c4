package cli

import (
	"bytes"
	"crypto/ed25519"
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/drawing"
	"yardhasp/client/fakeyard"
	"yardhasp/client/keys"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
	"yardhasp/testdata/coop"
)

// run runs one command line and gives its exit code and what it printed.
func run(t *testing.T, env map[string]string, args ...string) (code int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	a := &App{In: strings.NewReader(""), Out: &stdout, Err: &stderr, Env: func(k string) string { return env[k] }, Now: time.Now}
	code = a.Run(t.Context(), args)
	return code, stdout.String(), stderr.String()
}

// coopFiles puts the co-op's drawings into a folder.
func coopFiles(t *testing.T) (dir string, files []string) {
	t.Helper()
	dir = t.TempDir()
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		data, err := coop.Files.ReadFile(yard + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, write(t, dir, yard+".yaml", data))
	}
	return dir, files
}

func write(t *testing.T, dir, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// nowhere is the environment of somebody without a profile.
func nowhere(t *testing.T) map[string]string {
	return map[string]string{"YARDHASP_PROFILE": filepath.Join(t.TempDir(), "none.yaml")}
}

func contains(t *testing.T, where, text string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(text, w) {
			t.Errorf("%s doesn't say %q:\n%.2000s", where, w, text)
		}
	}
}

// With files, nobody is asked and no profile is needed.
func TestDrawingFromFiles(t *testing.T) {
	dir, files := coopFiles(t)
	env := nowhere(t)

	code, out, errs := run(t, env, append([]string{"drawing", "check"}, files...)...)
	if code != exitOK {
		t.Errorf("check exits with %d: %s", code, errs)
	}
	contains(t, "check", errs, "warning: "+files[1]+":", "millrow/portable-generator feeds the same wires as millrow/utility", "fed apart from stonebend/leg-1-motor")
	contains(t, "check", out, "eastfork revision 1", "stonebend/bin-5")

	svg := filepath.Join(dir, "boot.svg")
	code, out, errs = run(t, env, append([]string{"drawing", "picture", "stonebend/leg-2-boot", "--output-file", svg}, files...)...)
	data, err := os.ReadFile(svg)
	if code != exitOK || err != nil || out != "" {
		t.Errorf("picture exits with %d: %s %v", code, errs, err)
	}
	contains(t, "picture", string(data), "<svg ", "LOCK 4: open the disconnect", "EXPOSED PART")
	if left, err := filepath.Glob(filepath.Join(dir, ".picture-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
	code, out, _ = run(t, env, append([]string{"drawing", "picture", "stonebend/leg-2-boot", "--dot", "--point", "stonebend/mcc-1/leg-2"}, files...)...)
	if code != exitOK {
		t.Errorf("picture exits with %d", code)
	}
	contains(t, "picture --dot", out, "digraph zone {", "NOT CUT OFF")

	code, out, errs = run(t, env, append([]string{"procedure", "stonebend/leg-2-boot", "--people", "4"}, files...)...)
	if code != exitOK {
		t.Errorf("procedure exits with %d: %s", code, errs)
	}
	contains(t, "procedure", out, "UNCONFIRMED:", "1. millrow/bridge/transfer-pan", "wait 600 s", "1910.147(d)(5)(i)", "all eight must hold", "so NO: use this procedure")

	list := strings.Join(files, ",")
	code, out, errs = run(t, env, "plan", "stonebend/leg-2-boot", "--drawing", list, "--alternatives", "3", "-o", "json")
	var v choices
	if err := json.Unmarshal([]byte(out), &v); code != exitOK || err != nil || len(v.Sets) != 3 || !v.More {
		t.Errorf("alternatives exit with %d: %s %v %+v", code, errs, err, v)
	}
	if code, out, _ = run(t, env, "plan", "stonebend/leg-2-boot", "--drawing", list); code != exitOK || !strings.Contains(out, "WOULD BE CUT OFF, on these drawings, once these 4 points are open and locked") {
		t.Errorf("without --alternatives plan exits with %d: %s", code, out)
	}
}

// Mistakes end with their own exit code and say where they are.
func TestDrawingMistakes(t *testing.T) {
	dir, files := coopFiles(t)
	env := nowhere(t)
	list := strings.Join(files, ",")
	spoilt := func(name, old, new string) string {
		data, err := os.ReadFile(files[0])
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Contains(data, []byte(old)) {
			t.Fatalf("%q isn't in the file", old)
		}
		return write(t, dir, name, bytes.Replace(data, []byte(old), []byte(new), 1))
	}
	for _, test := range []struct {
		code int
		text string
		args []string
	}{
		{exitFailure, "used.yaml:33:5: node stonebend/mcc-9-bus isn't in the current drawings", []string{"drawing", "check", spoilt("used.yaml", "label: leg 3, feed: mcc-2-bus", "label: leg 3, feed: mcc-9-bus"), files[1], files[2]}},
		{exitFailure, `tmpl.yaml:34:5: template "leg" needs metres`, []string{"drawing", "check", spoilt("tmpl.yaml", ", metres: 15.2", "")}},
		{exitFailure, `field.yaml:9:1: unknown field`, []string{"drawing", "check", spoilt("field.yaml", "revision: 1", "rev: 1")}},
		{exitFailure, `zone "stonebend/none" isn't in the current drawings`, []string{"drawing", "picture", "stonebend/none", files[0], files[1], files[2]}},
		{exitFailure, "picture not written", []string{"drawing", "picture", "stonebend/leg-2-boot", files[0], files[1], files[2], "--output-file", filepath.Join(dir, "no", "such.svg")}},
		{exitFailure, `the drawings are of "stonebend" and "millrow"`, []string{"drawing", "diff", files[0], files[1]}},
		{exitUsage, "--beside goes with two files", []string{"drawing", "diff", files[0], "--beside", files[1]}},
		{exitUsage, "--people 0 is nobody", []string{"procedure", "stonebend/leg-2-boot", files[0], "--people", "0"}},
		{exitFailure, "too few points on the way", []string{"procedure", "stonebend/leg-2-boot", files[0], files[1], files[2], "--point", "stonebend/mcc-1/leg-2"}},
		{exitUsage, "--alternatives 0 is not from 1", []string{"plan", "stonebend/leg-2-boot", "--drawing", list, "--alternatives", "0"}},
		{exitUsage, "leave --point out", []string{"plan", "stonebend/leg-2-boot", "--drawing", list, "--alternatives", "2", "--point", "stonebend/mcc-1/leg-2"}},
		{exitFailure, "join a ledger with", []string{"drawing", "picture", "stonebend/leg-2-boot"}},
	} {
		code, _, errs := run(t, env, test.args...)
		if code != test.code || !strings.Contains(errs, test.text) {
			t.Errorf("%v: exit code %d, want %d; %q, want %q", test.args, code, test.code, errs, test.text)
		}
	}
}

func TestDrawingDiffOfFiles(t *testing.T) {
	dir, files := coopFiles(t)
	data, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	data = bytes.Replace(data, []byte("revision: 1"), []byte("revision: 2"), 1)
	data = bytes.Replace(data, []byte("device: bin-3-pan, lockable: true"), []byte("device: bin-3-pan, lockable: false"), 1)
	after := write(t, dir, "after.yaml", data)
	code, out, errs := run(t, nowhere(t), "drawing", "diff", files[0], after, "--beside", files[1]+","+files[2], "-o", "json")
	var v revised
	if err := json.Unmarshal([]byte(out), &v); code != exitOK || err != nil {
		t.Fatalf("diff exits with %d: %s %v", code, errs, err)
	}
	if v.JobsKnown || len(v.Jobs) > 0 {
		t.Error("jobs are known without a ledger")
	}
	if len(v.Changes) != 3 || v.Changes[2].List != "point" || v.Changes[2].Name != "boot-pit/bin-3-pan" || v.Changes[2].What != "removed" {
		t.Errorf("changes are %+v", v.Changes)
	}
	if len(v.Zones) != 1 || v.Zones[0].Zone != "stonebend/leg-2-boot" || v.Zones[0].What != "another plan" {
		t.Errorf("zones are %+v", v.Zones)
	}
	code, out, _ = run(t, nowhere(t), "drawing", "diff", files[0], files[0], "--beside", files[1]+","+files[2])
	if code != exitOK || !strings.Contains(out, "nothing changes") {
		t.Errorf("a drawing differs from itself: %s", out)
	}
}

// serving is three yards that answer with the co-op's drawings and one job.
func serving(t *testing.T) map[string]string {
	t.Helper()
	dir := t.TempDir()
	raw := map[string][]byte{}
	for _, yard := range []string{"stonebend", "millrow", "eastfork"} {
		data, err := coop.Files.ReadFile(yard + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		s, err := drawing.Parse(yard, data)
		if err != nil {
			t.Fatal(err)
		}
		if raw[yard], err = (proto.MarshalOptions{Deterministic: true}).Marshal(s.Drawing); err != nil {
			t.Fatal(err)
		}
	}
	_, id, err := found()
	if err != nil {
		t.Fatal(err)
	}
	p := &client.Profile{Ledger: id[:], Coop: "Three Forks Grain Co-op", Person: "ann-dahl", Key: "ann.key", Yard: "eastfork", Device: "tablet-1"}
	for _, name := range []string{"eastfork", "millrow", "stonebend"} {
		lis, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		y := &fakeyard.Yard{ID: name, Key: keyOf(name)}
		y.OnDrawing = func(yard string) (*servicev1.GetDrawingResponse, error) {
			if raw[yard] == nil {
				return nil, fakeyard.Fail(codes.NotFound, "", "no such drawing", "")
			}
			return &servicev1.GetDrawingResponse{Drawing: raw[yard], WalkedBy: "nia-okoro", WalkedUnixMs: 1789990000000}, nil
		}
		y.OnBoard = func(*servicev1.GetBoardRequest) (*recordv1.Board, error) {
			return &recordv1.Board{AsOf: asOf(true), Jobs: []*recordv1.JobView{
				{Id: "boot-7", Zone: "stonebend/leg-2-boot", Stage: recordv1.Stage_STAGE_LOCKED, Plan: []string{"stonebend/boot-pit/bin-3-pan"}},
				{Id: "old", Zone: "stonebend/leg-2-boot", Stage: recordv1.Stage_STAGE_CLOSED, Plan: []string{"stonebend/boot-pit/bin-3-pan"}},
				{Id: "mill", Zone: "eastfork/mill", Stage: recordv1.Stage_STAGE_LOCKED, Plan: []string{"eastfork/switchboard/mill"}},
			}}, nil
		}
		y.Serve(lis)
		t.Cleanup(y.Stop)
		key := ed25519.PublicKey(y.Public())
		p.Yards = append(p.Yards, client.Yard{ID: name, Name: name, Address: lis.Addr().String(), Key: key})
	}
	if err := keys.Write(filepath.Join(dir, "ann.key"), keyOf("ann"), ""); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "profile.yaml")
	if err := p.Save(path); err != nil {
		t.Fatal(err)
	}
	t.Setenv("XDG_STATE_HOME", filepath.Join(dir, "state"))
	return map[string]string{"YARDHASP_PROFILE": path}
}

// Without files, the current drawings of every yard are asked for.
func TestDrawingFromTheLedger(t *testing.T) {
	env := serving(t)
	code, out, errs := run(t, env, "drawing", "picture", "stonebend/leg-2-boot")
	if code != exitOK {
		t.Errorf("picture exits with %d: %s", code, errs)
	}
	contains(t, "picture", out, "LOCK 2: open the breaker", "millrow/control-panel/")
	code, out, errs = run(t, env, "procedure", "millrow/receiving-control")
	if code != exitOK {
		t.Errorf("procedure exits with %d: %s", code, errs)
	}
	contains(t, "procedure", out, "millrow/office-panel/receiving", "the ledger's current drawings")
	code, out, errs = run(t, env, "plan", "eastfork/mill", "--alternatives", "2")
	if code != exitOK {
		t.Errorf("alternatives exit with %d: %s", code, errs)
	}
	contains(t, "alternatives", out, "eastfork/switchboard/mill")

	dir, files := coopFiles(t)
	data, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	after := write(t, dir, "after.yaml", bytes.Replace(data, []byte("device: bin-3-pan, lockable: true"), []byte("device: bin-3-pan, lockable: false"), 1))
	code, out, errs = run(t, env, "drawing", "diff", after)
	if code != exitOK {
		t.Fatalf("diff exits with %d: %s", code, errs)
	}
	contains(t, "diff", out, "boot-7  stonebend/leg-2-boot  plan of its zone: another plan; point stonebend/boot-pit/bin-3-pan removed")
	if strings.Contains(out, "\n  old ") || strings.Contains(out, "\n  mill ") {
		t.Errorf("a closed job, or one of another zone, is touched:\n%s", out)
	}
}

// The example of "yardhasp help drawings" is a drawing: whoever begins with it gets
// no error, and its store stands beside what the templates make.
func TestDrawingsTopicIsADrawing(t *testing.T) {
	_, rest, _ := strings.Cut(drawingsText, "\n\n")
	_, rest, _ = strings.Cut(rest, "\n\n")
	example, _, _ := strings.Cut(rest, "\n\n")
	var lines []string
	for _, l := range strings.Split(example, "\n") {
		lines = append(lines, strings.TrimPrefix(l, "  "))
	}
	file := filepath.Join(t.TempDir(), "millrow.yaml")
	if err := os.WriteFile(file, []byte(strings.Join(lines, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := run(t, nil, "drawing", "check", file); code != exitOK || !strings.Contains(out, "nothing stands in the way") {
		t.Fatalf("exit %d\n%s%s", code, out, errs)
	}
	code, out, errs := run(t, nil, "plan", "millrow/leg-1-boot", "--drawing", file)
	if !strings.Contains(out, "set it on its pin") {
		t.Fatalf("exit %d, and the plan doesn't drain the store\n%s%s", code, out, errs)
	}
}

// A link that ends in a drawing that is not given says which one to give.
func TestDrawingCheckNamesMissingYard(t *testing.T) {
	file := filepath.Join(t.TempDir(), "stonebend.yaml")
	const text = "yard: stonebend\nrevision: 1\ntitle: start circuit\nnodes:\n  - {name: start, kind: bus}\nlinks:\n  - {name: feed, from: millrow/control, to: start, medium: electricity}\n"
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, _, errs := run(t, nil, "drawing", "check", file)
	if code != exitFailure || !strings.Contains(errs, "hint: give the drawing of millrow too: links of stonebend end there\n") {
		t.Fatalf("exit %d\n%s", code, errs)
	}
}
