package cli

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
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
		v.Why = "millrow and stonebend do not answer"
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
	v.Id, v.State, v.Why = "crust-4-a", recordv1.PermitState_PERMIT_STATE_SUSPENDED, "the observer left"
	v.Zone = "eastfork/bin-4"
	v.Missing = []*recordv1.Finding{{Code: "NO_OBSERVER", Subject: "crust-4", Text: "nobody stands watch", Who: "mia-berg", Clause: "1910.272(g)(3)"}}
	v.Air[0].OutOfLimits, v.Air[0].Value = true, "19.2 %"
	return v
}

// scene is what the scripts' yards answer, by the names they are asked with.
func scene(y *fakeyard.Yard) {
	two := &recordv1.Outcome{Kind: "request", Conditions: []*recordv1.Finding{
		{Code: "HOLD_STANDS", Subject: "stonebend/mcc-1/leg-2", Text: "ben-ito has a lock on it", Remedy: "ben-ito takes it off", Who: "ben-ito", Clause: "1910.147(e)(3)"},
		{Code: "NOT_CLEAR", Subject: "boot-7", Text: "the area is not recorded clear", Remedy: "look it over and record it", Who: "ann-dahl", Clause: "1910.147(e)(1)"},
	}}
	y.OnSubmit = func(_ int, r *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
		var s recordv1.Signed
		var rec recordv1.Record
		if proto.Unmarshal(r.GetSigned(), &s) != nil || proto.Unmarshal(s.GetBody(), &rec) != nil {
			return nil, fakeyard.Fail(codes.InvalidArgument, "", "no record", "")
		}
		switch {
		case rec.GetWithdraw().GetRequest() == "none":
			return nil, fakeyard.Refuse(&recordv1.Outcome{Kind: "withdraw", Conditions: []*recordv1.Finding{{Code: "UNKNOWN_REQUEST", Subject: "none", Text: "there is no such request"}}})
		case rec.GetSignOff().GetSignOn().GetSeq() == 204: // a lock's number
			return nil, fakeyard.Refuse(&recordv1.Outcome{Kind: "sign_off", Conditions: []*recordv1.Finding{{Code: "UNKNOWN_SIGN_ON", Subject: "stonebend/1/204", Text: "no such sign-on; if it ended long ago, see the history"}}})
		case rec.GetRelease().GetHold().GetSeq() == 230: // a sign-on's number
			return nil, fakeyard.Refuse(&recordv1.Outcome{Kind: "release", Conditions: []*recordv1.Finding{{Code: "UNKNOWN_HOLD", Subject: "stonebend/1/230", Text: "no such hold; if it ended long ago, see the history"}}})
		case rec.GetIssuePermit().GetId() == "refused":
			return nil, fakeyard.Refuse(&recordv1.Outcome{Kind: "issue_permit", Conditions: []*recordv1.Finding{
				{Code: "NO_OBSERVER", Subject: "crust-3", Text: "nobody whom the permit names stands watch as observer", Remedy: "they take their station and record it", Who: "mia-berg", Clause: "1910.272(g)(3)"},
				{Code: "RESCUE", Subject: "eastfork/bin-3", Text: "it names no rescue equipment suited to this bin", Remedy: "bring it to the bin and name it", Who: "the issuer", Clause: "1910.272(g)(4)"}}})
		case rec.GetAirReading() != nil:
			// Shows the script what was signed.
			text := ""
			for _, v := range rec.GetAirReading().GetValues() {
				text += fmt.Sprintf("%v=%d ", v.GetAgent(), v.GetThousandths())
			}
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, Ref: "eastfork/1/8", Text: text + rec.GetAirReading().GetLevel().String()}, nil
		case rec.GetIssuePermit().GetBinEntry() != nil:
			b := rec.GetIssuePermit().GetBinEntry()
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, Text: fmt.Sprintf("Issued: %s, %v, air every %d s, waist %v.", strings.Join(b.GetEntrants(), "+"), b.GetLine(), b.GetAirEverySeconds(), b.GetStopsAtWaist())}, nil
		case rec.GetRequest().GetId() == "refused":
			return nil, fakeyard.Refuse(two)
		case rec.GetRequest().GetId() == "no-quorum":
			return nil, fakeyard.Fail(codes.Unavailable, client.ReasonNoQuorum, "2 of 3 yards do not answer", "")
		case rec.GetInspectProcedure() != nil && rec.GetInspectProcedure().GetVersion() != 2:
			return nil, fakeyard.Refuse(&recordv1.Outcome{Kind: "inspect_procedure", Conditions: []*recordv1.Finding{{Code: "UNKNOWN_PROCEDURE", Text: "not the version in use"}}})
		case rec.GetPublishProcedure() != nil:
			p := rec.GetPublishProcedure()
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Text: fmt.Sprintf("version %d, %d points, text %.9q", p.GetVersion(), len(p.GetPoints()), p.GetText())}, nil
		case rec.GetRecordTraining() != nil:
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Text: rec.GetRecordTraining().String()}, nil
		case said(&rec) != "":
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Text: said(&rec), Ref: "eastfork/1/8"}, nil
		case rec.GetLock().GetPadlock() == "p-unknown":
			return nil, fakeyard.Fail(codes.Aborted, client.ReasonOutcomeUnknown, "no answer from the quorum", "")
		case rec.GetLock().GetPadlock() == "p-live":
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_LIVE, Yard: y.ID, Ref: "eastfork/1/9", Text: "eastfork/mcc-1/fan is recorded as switched on. Your lock is noted but protects nothing until it is isolated and this screen changes."}, nil
		}
		ok := &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Text: "Recorded by the co-op at 14:02.", Ref: "eastfork/1/8"}
		if rec.GetLock() != nil { // a yard names what a lock that is on is promised
			ok.Promised = []string{rec.GetLock().GetTarget().GetPoint()}
		}
		return ok, nil
	}
	var asked atomic.Int64
	y.OnReceipt = func(r *servicev1.GetReceiptRequest) (*servicev1.Receipt, error) {
		if r.GetCounter() == 77 { // held here for two questions, then everywhere
			if n := asked.Add(1); n > 2 {
				return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, Text: "Recorded by the co-op."}, nil
			}
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_HELD_LOCALLY, Yard: y.ID, Text: "East Fork has recorded your lock."}, nil
		}
		if r.GetCounter() == 2 {
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_WRITTEN, Yard: y.ID, Outcome: two}, nil
		}
		if r.GetCounter() > 2 {
			return nil, fakeyard.Fail(codes.NotFound, "", "no such ticket here", "")
		}
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_WRITTEN, Yard: y.ID, Text: "Written down.", RepeatedTicket: true}, nil
	}
	y.OnJob = func(r *servicev1.GetJobRequest) (*recordv1.JobView, error) {
		confirmed := r.GetConsistency() != servicev1.Consistency_CONSISTENCY_LOCAL
		switch r.GetJob() {
		case "crews":
			return crewsJob(confirmed), nil
		case "may":
			return mayStart(confirmed), nil
		case "boot-7":
			return &recordv1.JobView{AsOf: asOf(confirmed), Id: "boot-7", Zone: "stonebend/leg-2-boot", Responsible: "ann-dahl", Stage: recordv1.Stage_STAGE_TOLD,
				Plan: []string{"stonebend/mcc-1/leg-2"}, ToStart: two.Conditions, Drawings: []string{"stonebend revision 3"}, Alarms: []string{"stonebend/mcc-1/leg-2 was found closed by ben-ito"},
				Points: []*recordv1.PointView{{Point: "stonebend/mcc-1/leg-2", Position: recordv1.Position_POSITION_LIVE}},
				Holds:  []*recordv1.HoldView{{Ref: "stonebend/1/204", Holder: "ann-dahl", Target: "stonebend/mcc-1/leg-2", SinceUnixMs: 1789990000000}}}, nil
		}
		return nil, fakeyard.Fail(codes.NotFound, "", "there is no job of this name", "")
	}
	y.OnBoard = func(r *servicev1.GetBoardRequest) (*recordv1.Board, error) {
		confirmed := r.GetConsistency() != servicev1.Consistency_CONSISTENCY_LOCAL
		j := mayStart(confirmed)
		return &recordv1.Board{AsOf: asOf(confirmed), Coop: "Three Forks Grain Co-op", Alarms: []string{"something was found live"}, Jobs: []*recordv1.JobView{j, crewsJob(confirmed)}, Requests: j.Requests,
			Holds: crewsJob(confirmed).Holds, Due: due(), Procedures: []*recordv1.ProcedureView{procedureView()},
			WrittenHere: []*recordv1.WrittenView{{Ref: "eastfork/1/12", Kind: "lock", Signer: "ann-dahl", About: "eastfork/mcc-1/fan", SinceUnixMs: 1790000300000, Promise: "held here"}, {Ref: "eastfork/1/13", Kind: "found_lock", Signer: "bo-lind"}},
			Permits:     []*recordv1.PermitView{permitInForce(), permitSuspended()},
			People: []*recordv1.PersonView{{Id: "ann-dahl", Name: "Ann Dahl", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}, HasKey: true},
				{Id: "bo-lind", Name: "Bo Lind", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER}, HasKey: true},
				{Id: "lena-moss", Name: "Lena Moss", Employer: "Harrow Millwrights", Roles: []recordv1.Role{recordv1.Role_ROLE_CONTRACTOR}, HasKey: true,
					Retrain: []*recordv1.RetrainView{{Zone: "stonebend/leg-2-boot", Why: "version 2 of the procedure"}}}},
			Padlocks: []*recordv1.PadlockView{
				{Serial: "p-17", Owner: "ann-dahl", KeysCut: 2, Spare: "OUT OF CUSTODY", SpareHolder: "ben-ito", On: []string{"eastfork/mcc-1/fan", "millrow/mcc-1/fan"},
					Flags: []*recordv1.Finding{{Code: "SPARE_KEY", Text: "padlock p-17 has 2 keys", Clause: "common practice, no source"}}},
				{Serial: "yard-1", Owner: "bo-lind", KeysCut: 1, Spare: "none cut", Kind: recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT}}}, nil
	}
	y.OnPlan = func(r *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
		if r.GetZone() != "stonebend/leg-2-boot" {
			return nil, fakeyard.Fail(codes.NotFound, "", "there is no zone of this name", "")
		}
		return &servicev1.PlanResponse{AsOf: asOf(true), Zone: r.GetZone(), Isolates: true, Fewest: true, Points: []string{"stonebend/mcc-1/leg-2"},
			Proofs: []*servicev1.ProofView{{Part: "stonebend/leg-2-motor", Medium: recordv1.Medium_MEDIUM_ELECTRICITY, Kind: recordv1.ReadingKind_READING_KIND_METER}}}, nil
	}
	y.OnEnergyNow = func(string) (*servicev1.GetEnergyNowResponse, error) {
		return &servicev1.GetEnergyNowResponse{AsOf: asOf(true), Zones: []*servicev1.ZoneNow{{Zone: "stonebend/pit"}, {Zone: "stonebend/leg-2-boot", Condition: "locked"}, {Zone: "millrow/tunnel", Condition: "locked", OlderPoints: []string{"eastfork/panel-2/control"}}}}, nil
	}
	peopleScene(y)
	y.OnMembers = func() (*servicev1.GetMembersResponse, error) {
		return &servicev1.GetMembersResponse{AsOf: asOf(true), Coop: "Three Forks Grain Co-op", Yard: y.ID, Voters: 3, Alive: 2, Quorum: 2, MayFail: 0, HasQuorum: true, Health: []string{"the disk is 91 % full"},
			Members: []*servicev1.Member{{Yard: "eastfork", Voter: true, Leader: true, Alive: true},
				{Yard: "millrow", Voter: true, Address: "127.0.0.1:1", ReplicaKey: keyOf("impostor").Public().(ed25519.PublicKey)},
				{Yard: "stonebend", Address: "127.0.0.1:2", ReplicaKey: keyOf("stonebend").Public().(ed25519.PublicKey)}}}, nil
	}
	y.OnPanel = func(point string) (*servicev1.GetPanelResponse, error) {
		from := y.ID
		if point == "millrow/mcc-1/borrowed" {
			from = "eastfork"
		}
		return &servicev1.GetPanelResponse{Point: point, Yard: from, Run: "run-1", Position: recordv1.Position_POSITION_OPEN, GoAhead: true, Request: "r-1", Text: "close now", AsOf: asOf(point != "millrow/mcc-1/cut-off")}, nil
	}
	y.OnWatch = func(from uint64) ([]*recordv1.Outcome, error) {
		if from > 1 {
			return nil, fakeyard.Fail(codes.OutOfRange, "", "the scene ends here", "")
		}
		return []*recordv1.Outcome{{Index: 0, Accepted: true, Kind: "founding", Changes: []string{"founded"}}, {Index: 1, Kind: "lock", Accepted: true}},
			fakeyard.Fail(codes.OutOfRange, "", "the scene ends here", "")
	}
}
