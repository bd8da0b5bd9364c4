package cli

import (
	"crypto/ed25519"
	"fmt"
	"strings"
	"sync/atomic"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/fakeyard"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// scene is what the scripts' yards answer, by the names they are asked with.
func scene(y *fakeyard.Yard) {
	y.OnSubmit = func(_ int, r *servicev1.SubmitRequest) (*servicev1.Receipt, error) {
		var s recordv1.Signed
		var rec recordv1.Record
		if proto.Unmarshal(r.GetSigned(), &s) != nil || proto.Unmarshal(s.GetBody(), &rec) != nil {
			return nil, fakeyard.Fail(codes.InvalidArgument, "", "no record", "")
		}
		if err := sceneRefusal(&rec); err != nil {
			return nil, err
		}
		return sceneReceipt(y, &rec), nil
	}
	y.OnReceipt = sceneReceipts(y)
	y.OnJob = sceneJob
	y.OnBoard = sceneBoard
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
		return &servicev1.GetMembersResponse{AsOf: asOf(true), Coop: "Three Forks Grain Co-op", Yard: y.ID, Voters: 3, Alive: 2, Quorum: 2, MayFail: 0, HasQuorum: true, Wrong: []*recordv1.Finding{told("the disk is 91 % full")},
			Members: []*servicev1.Member{{Yard: "eastfork", Voter: true, Leader: true, Alive: true},
				{Yard: "millrow", Voter: true, Address: "127.0.0.1:1", ReplicaKey: keyOf("impostor").Public().(ed25519.PublicKey)},
				{Yard: "stonebend", Address: "127.0.0.1:2", ReplicaKey: keyOf("stonebend").Public().(ed25519.PublicKey)}}}, nil
	}
	y.OnPanel = func(point string) (*servicev1.GetPanelResponse, error) {
		from := y.ID
		if point == "millrow/mcc-1/borrowed" {
			from = "eastfork"
		}
		return &servicev1.GetPanelResponse{Point: point, Yard: from, Run: "run-1", Position: recordv1.Position_POSITION_OPEN, GoAhead: true, Request: "r-1", Means: told("close now"), AsOf: asOf(point != "millrow/mcc-1/cut-off")}, nil
	}
	y.OnWatch = func(from uint64) ([]*recordv1.Outcome, error) {
		if from > 1 {
			return nil, fakeyard.Fail(codes.OutOfRange, "", "the scene ends here", "")
		}
		return []*recordv1.Outcome{{Index: 0, Accepted: true, Kind: "founding", Did: []*recordv1.Finding{ledger.LedgerBegun.About("", "Three Forks Grain Co-op", "eastfork", "bo-lind")}}, {Index: 1, Kind: "lock", Accepted: true}},
			fakeyard.Fail(codes.OutOfRange, "", "the scene ends here", "")
	}
}

// twoConditions stand against a start.
func twoConditions() *recordv1.Outcome {
	return &recordv1.Outcome{Kind: "request", Conditions: []*recordv1.Finding{
		ledger.HoldStands.About("stonebend/mcc-1/leg-2", "ben-ito", "stonebend/mcc-1/leg-2", "stonebend/1/206"),
		ledger.NotClear.About("boot-7", "boot-7", "ann-dahl"),
	}}
}

// sceneRefusal is why a record does not get in, or into the ledger.
func sceneRefusal(rec *recordv1.Record) error {
	switch {
	case rec.GetWithdraw().GetRequest() == "none":
		return fakeyard.Refuse(&recordv1.Outcome{Kind: "withdraw", Conditions: []*recordv1.Finding{ledger.UnknownRequest.About("none", "none")}})
	case rec.GetSignOff().GetSignOn().GetSeq() == 204: // a lock's number
		return fakeyard.Refuse(&recordv1.Outcome{Kind: "sign_off", Conditions: []*recordv1.Finding{ledger.UnknownSignOn.About("stonebend/1/204", "stonebend/1/204")}})
	case rec.GetRelease().GetHold().GetSeq() == 230: // a sign-on's number
		return fakeyard.Refuse(&recordv1.Outcome{Kind: "release", Conditions: []*recordv1.Finding{ledger.UnknownHold.About("stonebend/1/230", "stonebend/1/230")}})
	case rec.GetIssuePermit().GetId() == "refused":
		return fakeyard.Refuse(&recordv1.Outcome{Kind: "issue_permit", Conditions: []*recordv1.Finding{
			ledger.NoObserver.About("crust-3", "crust-3", "mia-berg"), ledger.NoRescueEquipment.About("eastfork/bin-3", "eastfork/bin-3")}})
	case rec.GetRequest().GetId() == "refused":
		return fakeyard.Refuse(twoConditions())
	case rec.GetRequest().GetId() == "no-quorum":
		return fakeyard.Fail(codes.Unavailable, client.ReasonNoQuorum, "2 of 3 yards do not answer", "")
	case rec.GetInspectProcedure() != nil && rec.GetInspectProcedure().GetVersion() != 2:
		return fakeyard.Refuse(&recordv1.Outcome{Kind: "inspect_procedure", Conditions: []*recordv1.Finding{ledger.NotVersionInUse.About("stonebend/leg-2-boot", "stonebend/leg-2-boot", 2, "1910.147(c)(6)(i)")}})
	case rec.GetLock().GetPadlock() == "p-unknown":
		return fakeyard.Fail(codes.Aborted, client.ReasonOutcomeUnknown, "no answer from the quorum", "")
	}
	return nil
}

// sceneReceipt answers a record. Where the script is to see what was signed, it says it.
func sceneReceipt(y *fakeyard.Yard, rec *recordv1.Record) *servicev1.Receipt {
	switch {
	case rec.GetAirReading() != nil:
		// Shows the script what was signed.
		text := ""
		for _, v := range rec.GetAirReading().GetValues() {
			text += fmt.Sprintf("%v=%d ", v.GetAgent(), v.GetThousandths())
		}
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, Ref: "eastfork/1/8", Means: told(text + rec.GetAirReading().GetLevel().String())}
	case rec.GetIssuePermit().GetBinEntry() != nil:
		b := rec.GetIssuePermit().GetBinEntry()
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, Means: told(fmt.Sprintf("Issued: %s, %v, air every %d s, waist %v.", strings.Join(b.GetEntrants(), "+"), b.GetLine(), b.GetAirEverySeconds(), b.GetStopsAtWaist()))}
	case rec.GetPublishProcedure() != nil:
		p := rec.GetPublishProcedure()
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Means: told(fmt.Sprintf("version %d, %d points, text %.9q", p.GetVersion(), len(p.GetPoints()), p.GetText()))}
	case rec.GetRecordTraining() != nil:
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Means: told(rec.GetRecordTraining().String())}
	case said(rec) != "":
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Means: told(said(rec)), Ref: "eastfork/1/8"}
	case rec.GetLock().GetPadlock() == "p-live":
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_LIVE, Yard: y.ID, Ref: "eastfork/1/9", Means: told("eastfork/mcc-1/fan is recorded as switched on. Your lock is noted but protects nothing until it is isolated and this screen changes.")}
	}
	ok := &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, ReadUnixMs: 1790000400000, Means: told("Recorded by the co-op at 14:02."), Ref: "eastfork/1/8"}
	if rec.GetLock() != nil { // a yard names what a lock that is on is promised
		ok.Promised = []string{rec.GetLock().GetTarget().GetPoint()}
	}
	return ok
}

// sceneReceipts answers by the number of the ticket asked for.
func sceneReceipts(y *fakeyard.Yard) func(*servicev1.GetReceiptRequest) (*servicev1.Receipt, error) {
	var asked atomic.Int64
	return func(r *servicev1.GetReceiptRequest) (*servicev1.Receipt, error) {
		if r.GetCounter() == 77 { // held here for two questions, then everywhere
			if n := asked.Add(1); n > 2 {
				return &servicev1.Receipt{Status: servicev1.Status_STATUS_CONFIRMED, Yard: y.ID, Means: told("Recorded by the co-op.")}, nil
			}
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_HELD_LOCALLY, Yard: y.ID, Means: told("East Fork has recorded your lock.")}, nil
		}
		if r.GetCounter() == 2 {
			return &servicev1.Receipt{Status: servicev1.Status_STATUS_WRITTEN, Yard: y.ID, Outcome: twoConditions()}, nil
		}
		if r.GetCounter() > 2 {
			return nil, fakeyard.Fail(codes.NotFound, "", "no such ticket here", "")
		}
		return &servicev1.Receipt{Status: servicev1.Status_STATUS_WRITTEN, Yard: y.ID, Means: told("Written down."), RepeatedTicket: true}, nil
	}
}

func sceneJob(r *servicev1.GetJobRequest) (*recordv1.JobView, error) {
	confirmed := r.GetConsistency() != servicev1.Consistency_CONSISTENCY_LOCAL
	switch r.GetJob() {
	case "crews":
		return crewsJob(confirmed), nil
	case "may":
		return mayStart(confirmed), nil
	case "boot-7":
		return &recordv1.JobView{AsOf: asOf(confirmed), Id: "boot-7", Zone: "stonebend/leg-2-boot", Responsible: "ann-dahl", Stage: recordv1.Stage_STAGE_TOLD,
			Plan: []string{"stonebend/mcc-1/leg-2"}, ToStart: twoConditions().Conditions, Drawings: []string{"stonebend revision 3"}, Alarms: []*recordv1.Finding{ledger.FoundClosed.About("stonebend/mcc-1/leg-2", "stonebend/mcc-1/leg-2", "ben-ito", "ann-dahl", nil, nil)},
			Points: []*recordv1.PointView{{Point: "stonebend/mcc-1/leg-2", Position: recordv1.Position_POSITION_LIVE}},
			Holds:  []*recordv1.HoldView{{Ref: "stonebend/1/204", Holder: "ann-dahl", Target: "stonebend/mcc-1/leg-2", SinceUnixMs: 1789990000000}}}, nil
	}
	return nil, fakeyard.Fail(codes.NotFound, "", "there is no job of this name", "")
}

func sceneBoard(r *servicev1.GetBoardRequest) (*recordv1.Board, error) {
	confirmed := r.GetConsistency() != servicev1.Consistency_CONSISTENCY_LOCAL
	j := mayStart(confirmed)
	return &recordv1.Board{AsOf: asOf(confirmed), Coop: "Three Forks Grain Co-op", Alarms: []*recordv1.Finding{ledger.FoundClosed.About("millrow/mcc-1/fan", "millrow/mcc-1/fan", "dov", nil, nil, nil)}, Jobs: []*recordv1.JobView{j, crewsJob(confirmed)}, Requests: j.Requests,
		Holds: crewsJob(confirmed).Holds, Due: due(), Procedures: []*recordv1.ProcedureView{procedureView()},
		WrittenHere: []*recordv1.WrittenView{{Ref: "eastfork/1/12", Kind: "lock", Signer: "ann-dahl", About: "eastfork/mcc-1/fan", SinceUnixMs: 1790000300000, Worth: told("held here")}, {Ref: "eastfork/1/13", Kind: "found_lock", Signer: "bo-lind"}},
		Permits:     []*recordv1.PermitView{permitInForce(), permitSuspended()},
		People: []*recordv1.PersonView{{Id: "ann-dahl", Name: "Ann Dahl", Roles: []recordv1.Role{recordv1.Role_ROLE_AUTHORISED}, HasKey: true},
			{Id: "bo-lind", Name: "Bo Lind", Roles: []recordv1.Role{recordv1.Role_ROLE_MANAGER}, HasKey: true},
			{Id: "lena-moss", Name: "Lena Moss", Employer: "Harrow Millwrights", Roles: []recordv1.Role{recordv1.Role_ROLE_CONTRACTOR}, HasKey: true,
				Retrain: []*recordv1.RetrainView{{Zone: "stonebend/leg-2-boot", Because: ledger.IsolationChanged.About("stonebend/leg-2-boot", "stonebend/leg-2-boot", "stonebend", 3)}}}},
		Padlocks: []*recordv1.PadlockView{
			{Serial: "p-17", Owner: "ann-dahl", KeysCut: 2, Spare: "OUT OF CUSTODY", SpareHolder: "ben-ito", On: []string{"eastfork/mcc-1/fan", "millrow/mcc-1/fan"},
				Flags: []*recordv1.Finding{ledger.SpareKey.About("p-17", "p-17", 2, "ben-ito")}},
			{Serial: "yard-1", Owner: "bo-lind", KeysCut: 1, Spare: "none cut", Kind: recordv1.PadlockKind_PADLOCK_KIND_EQUIPMENT}}}, nil
}
