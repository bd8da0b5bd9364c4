package cli

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/fakeyard"
	"yardhasp/client/keys"
	"yardhasp/client/record/sample"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"yardhasp": Main})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:   "testdata/script",
		Setup: setup,
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// exits CODE COMMAND...: runs it and checks its exit code.
			"exits": func(ts *testscript.TestScript, neg bool, args []string) {
				if neg || len(args) < 2 {
					ts.Fatalf("usage: exits code command...")
				}
				want, err := strconv.Atoi(args[0])
				ts.Check(err)
				got := 0
				var exit *exec.ExitError
				if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
					got = exit.ExitCode()
				} else {
					ts.Check(err)
				}
				if got != want {
					ts.Fatalf("exit code %d, want %d", got, want)
				}
			},
		},
	})
}

func keyOf(word string) ed25519.PrivateKey {
	sum := sha256.Sum256([]byte(word))
	return ed25519.NewKeyFromSeed(sum[:])
}

// found makes a founding record and the ledger id that follows from it.
func found() (signed []byte, id [32]byte, err error) {
	body, err := proto.Marshal(&recordv1.Founding{Coop: "Three Forks Grain Co-op", Nonce: make([]byte, 32)})
	if err != nil {
		return nil, id, err
	}
	k := keyOf("eastfork")
	signed, err = proto.Marshal(&recordv1.Signed{Body: body, Signatures: []*recordv1.Signature{{Key: k.Public().(ed25519.PublicKey), Signature: seal.Sign(k, seal.FoundingDomain, body)}}})
	return signed, sha256.Sum256(body), err
}

// setup gives each script two yards that answer (eastfork, millrow), a profile
// for them, and another profile whose yards are down.
func setup(env *testscript.Env) error {
	return fixture(env.WorkDir, env.Defer, env.Setenv)
}

// fixture is setup in a folder, for a test that runs commands itself.
func fixture(dir string, later func(func()), setenv func(k, v string)) error {
	founding, id, err := found()
	if err != nil {
		return err
	}
	var infos []*recordv1.YardInfo
	up := &client.Profile{Ledger: id[:], Coop: "Three Forks Grain Co-op", Person: "ann-dahl", Key: "ann.key", Yard: "eastfork", Device: "tablet-1"}
	down := *up
	for _, name := range []string{"eastfork", "millrow"} {
		lis, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		y := &fakeyard.Yard{ID: name, Key: keyOf(name)}
		scene(y)
		infos = append(infos, &recordv1.YardInfo{Id: name, Name: name, Address: lis.Addr().String(), ReplicaKey: y.Public()})
		y.OnJoin = func(*servicev1.JoinRequest) (*servicev1.JoinResponse, error) {
			return &servicev1.JoinResponse{Founding: founding, Id: "ben-ito", Yards: infos}, nil
		}
		y.Serve(lis)
		later(y.Stop)
		dead, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return err
		}
		dead.Close()
		up.Yards = append(up.Yards, client.Yard{ID: name, Name: name, Address: lis.Addr().String(), Key: y.Public()})
		down.Yards = append(down.Yards, client.Yard{ID: name, Name: name, Address: dead.Addr().String(), Key: y.Public()})
	}
	if err := keys.Write(filepath.Join(dir, "ann.key"), keyOf("ann"), ""); err != nil {
		return err
	}
	// bo-lind is another person of the same co-op, with a key of their own.
	bo := *up
	bo.Person, bo.Key = "bo-lind", "bo.key"
	if err := errors.Join(keys.Write(filepath.Join(dir, "bo.key"), keyOf("bo"), ""), bo.Save(filepath.Join(dir, "bo.yaml"))); err != nil {
		return err
	}
	// A true history of another ledger, as a file.
	week, err := sample.Week()
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, "week.yardhasp"), week.Export(), 0o600); err != nil {
		return err
	}
	if err := serveWeek(week, dir, later); err != nil {
		return err
	}
	root := week.State.Root()
	setenv("WEEK", hex.EncodeToString(week.ID))
	setenv("WEEKROOT", hex.EncodeToString(root[:]))
	// lena-moss is of another employer.
	lena := *up
	lena.Person, lena.Key = "lena-moss", "lena.key"
	if err := errors.Join(keys.Write(filepath.Join(dir, "lena.key"), keyOf("lena"), ""), lena.Save(filepath.Join(dir, "lena.yaml"))); err != nil {
		return err
	}
	coop, err := filepath.Abs("testdata/coop")
	if err != nil {
		return err
	}
	setenv("COOP", coop)
	setenv("XDG_STATE_HOME", filepath.Join(dir, "state"))
	setenv("XDG_CONFIG_HOME", filepath.Join(dir, "config"))
	setenv("YARDHASP_PROFILE", filepath.Join(dir, "up.yaml"))
	return errors.Join(up.Save(filepath.Join(dir, "up.yaml")), down.Save(filepath.Join(dir, "down.yaml")), os.MkdirAll(filepath.Join(dir, "config"), 0o700))
}

// serveWeek has a yard answer with a true history, and writes a profile for it.
func serveWeek(w *sample.World, dir string, later func(func())) error {
	lis, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	y := &fakeyard.Yard{ID: "stonebend", Key: sample.Key("stonebend")}
	note := string(w.Note())
	y.OnCheckpoint = func() (string, error) { return note, w.Err }
	y.OnExport = func(from, to uint64) ([][]byte, error) { return w.Entries[from:min(to, uint64(len(w.Entries)))], nil }
	y.OnWatch = func(from uint64) ([]*recordv1.Outcome, error) {
		return w.Outs[min(from, uint64(len(w.Outs))):], fakeyard.Fail(codes.OutOfRange, "", "the week ends here", "")
	}
	y.Serve(lis)
	later(y.Stop)
	p := &client.Profile{Ledger: w.ID, Coop: "Three Forks Grain Co-op", Person: "ann-dahl", Key: "ann.key", Yard: "stonebend", Device: "tablet-1",
		Yards: []client.Yard{{ID: "stonebend", Name: "Stonebend", Address: lis.Addr().String(), Key: y.Public()}}}
	return p.Save(filepath.Join(dir, "week.yaml"))
}

func asOf(confirmed bool) *recordv1.AsOf {
	// 1790000000 is 2026-09-21T14:13:20Z (GNU date); the quorum was last heard 6 minutes before the reading.
	v := &recordv1.AsOf{Size: 41, TimeUnixMs: 1790000000000, Yard: "eastfork", ReadUnixMs: 1790000400000, Confirmed: confirmed, ConfirmedUnixMs: 1790000040000,
		Yards: []*recordv1.YardContact{{Yard: "eastfork", Heard: true}, {Yard: "millrow", LastHeardUnixMs: 1789990000000}}}
	if !confirmed {
		v.Because = told("millrow and stonebend do not answer")
	}
	return v
}

// mayStart is a job on which everything is met and a request approved.
func mayStart(confirmed bool) *recordv1.JobView {
	return &recordv1.JobView{AsOf: asOf(confirmed), Id: "may", Zone: "stonebend/leg-2-boot", Responsible: "ann-dahl", Stage: recordv1.Stage_STAGE_WORK_MAY_START,
		Caution: ledger.Caution, Requests: []*recordv1.RequestView{{Id: "r-1", Job: "may", Points: []string{"stonebend/mcc-1/leg-2"}, State: recordv1.RequestState_REQUEST_STATE_APPROVED}}}
}

func permitInForce() *recordv1.PermitView {
	return &recordv1.PermitView{Id: "crust-3-a", Kind: recordv1.PermitKind_PERMIT_KIND_BIN_ENTRY, Job: "crust-3", Zone: "eastfork/bin-3", State: recordv1.PermitState_PERMIT_STATE_IN_FORCE,
		IssuedBy: "ann-dahl", IssuedUnixMs: 1790000000000, EndsUnixMs: 1790014400000, Named: []string{"ben-ito"}, Watchers: []string{"mia-berg"}, Line: "body harness with lifeline",
		RescueEquipment: "tripod and winch", AirDueUnixMs: 1790001800000,
		Inside:  []*recordv1.InsideView{{Ref: "eastfork/1/90", Person: "ben-ito", SinceUnixMs: 1790000100000}},
		Watches: []*recordv1.WatchView{{Ref: "eastfork/1/88", Person: "mia-berg", Duty: recordv1.Duty_DUTY_OBSERVER, Station: "roof door", Contact: "sight", SinceUnixMs: 1789999000000}},
		Air:     []*recordv1.AirView{{Level: recordv1.AirLevel_AIR_LEVEL_BOTTOM, Agent: recordv1.AirAgent_AIR_AGENT_OXYGEN, Value: "20.8 %", Limit: "19.5 to 23.5 %", By: "ann-dahl", Instrument: "gas-2", AgeSeconds: 360}}}
}

func permitSuspended() *recordv1.PermitView {
	v := permitInForce()
	v.Id, v.State = "crust-4-a", recordv1.PermitState_PERMIT_STATE_SUSPENDED
	v.Zone = "eastfork/bin-4"
	v.Missing = []*recordv1.Finding{ledger.NoObserver.About("crust-4", "crust-4", "mia-berg")}
	v.Because = v.Missing
	v.Air[0].OutOfLimits, v.Air[0].Value = true, "19.2 %"
	return v
}

// told is a finding of a code that no catalogue has: it shows as the code with its words.
func told(words string) *recordv1.Finding {
	return &recordv1.Finding{Code: "TOLD", Args: []*recordv1.Arg{{Name: "words", Kind: recordv1.ArgKind_ARG_KIND_TEXT, Text: words}}}
}
