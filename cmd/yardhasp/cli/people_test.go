package cli

import (
	"crypto/sha256"

	"google.golang.org/protobuf/proto"

	"yardhasp/client/fakeyard"
	"yardhasp/ledger"
	"yardhasp/ledger/seal"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

const waitingText = "open leg 2, lock it\n"

func procedureView() *recordv1.ProcedureView {
	sum := sha256.Sum256([]byte(waitingText))
	return &recordv1.ProcedureView{Zone: "stonebend/leg-2-boot", Version: 2, Author: "bo-lind", ApprovedBy: "ann-dahl", ApprovedUnixMs: 1758000000000, Machines: []string{"leg 2"},
		Points: []string{"stonebend/mcc-1/leg-2"}, Drawings: []string{"stonebend revision 3"}, InspectionDueUnixMs: 1789536000000, ToReview: []string{"ben-ito"},
		Waiting: 3, WaitingAuthor: "bo-lind", WaitingHash: sum[:], WaitingIndex: 7}
}

func due() []*recordv1.DueView {
	return []*recordv1.DueView{
		{Kind: "training", Subject: "joe-lund", Due: ledger.TrainingMissing.About("joe-lund", "joe-lund", "grain-handling", "1910.272(e)(1)"), Overdue: true},
		{Kind: "inspection", Subject: "stonebend/leg-2-boot", Due: ledger.InspectionDue.About("stonebend/leg-2-boot", "stonebend/leg-2-boot", 2, 1789536000000), DueUnixMs: 1789536000000, Overdue: true},
		{Kind: "training", Subject: "ann-dahl", Due: ledger.TrainingDue.About("ann-dahl", "ann-dahl", "authorised", 1790985600000, "1910.147(c)(7)(i)"), DueUnixMs: 1790985600000},
	}
}

// crewsJob is a job of two crews in two yards, with lena-moss's lock on it.
func crewsJob(confirmed bool) *recordv1.JobView {
	return &recordv1.JobView{AsOf: asOf(confirmed), Id: "crews", Zone: "stonebend/leg-2-boot", Responsible: "ann-dahl", Coordinator: "bo-lind", Plan: []string{"stonebend/mcc-1/leg-2"},
		Stage: recordv1.Stage_STAGE_LOCKED, Drawings: []string{"stonebend revision 3"}, Procedure: procedureView(),
		ToStart:    []*recordv1.Finding{ledger.NoExchange.About("lena-moss", "stonebend", "lena-moss", "Harrow Millwrights")},
		Complex: []*recordv1.Finding{ledger.SeveralYards.About("crews", []string{"millrow", "stonebend"})},
		Points:     []*recordv1.PointView{{Point: "stonebend/mcc-1/leg-2", Position: recordv1.Position_POSITION_OPEN_AND_HELD}},
		Holds:      []*recordv1.HoldView{{Ref: "stonebend/1/205", Holder: "lena-moss", Target: "stonebend/mcc-1/leg-2", Covers: []string{"stonebend/mcc-1/leg-2"}, Job: "crews", Guards: true, SinceUnixMs: 1789990000000}},
		Members: []*recordv1.MemberView{
			{Person: "ann-dahl", Responsible: true, Exposure: recordv1.Exposure_EXPOSURE_ON, Verification: recordv1.VerificationAnswer_VERIFICATION_ANSWER_VERIFIED_MYSELF},
			{Person: "lena-moss", Crew: "millwrights", Employer: "Harrow Millwrights"},
			{Person: "bo-lind", Exposure: recordv1.Exposure_EXPOSURE_OFF, Verification: recordv1.VerificationAnswer_VERIFICATION_ANSWER_OFFERED_DECLINED, VerificationStale: true},
		}}
}

// peopleScene answers what the commands about procedures and visits ask.
func peopleScene(y *fakeyard.Yard) {
	y.OnPlan = func(r *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
		return &servicev1.PlanResponse{Zone: r.GetZone(), Points: r.GetPoints(), Isolates: true,
			Stores: []*servicev1.StoreView{{Store: "stonebend/buckets", Medium: recordv1.Medium_MEDIUM_MOTION, WaitSeconds: 60, Release: "set the belt clamp"}},
			Lines:  []*servicev1.LineView{{Point: "stonebend/mcc-1/leg-2", Hardware: "a hasp", Needs: []string{"1 padlock"}}}}, nil
	}
	y.OnDrawing = func(yard string) (*servicev1.GetDrawingResponse, error) {
		ds, err := readDrawings([]string{"testdata/coop/stonebend.yaml"})
		if err != nil || yard != "eastfork" {
			return &servicev1.GetDrawingResponse{AsOf: asOf(true)}, err
		}
		raw, err := proto.Marshal(ds.list[0])
		return &servicev1.GetDrawingResponse{AsOf: asOf(true), Drawing: raw}, err
	}
	y.OnExport = func(from, _ uint64) ([][]byte, error) {
		text := waitingText
		if from != 7 {
			text = "another text\n"
		}
		body, err := proto.Marshal(&recordv1.Record{Signer: "bo-lind", Act: &recordv1.Record_PublishProcedure{PublishProcedure: &recordv1.PublishProcedure{Text: []byte(text)}}})
		if err != nil {
			return nil, err
		}
		k := keyOf("bo")
		raw, err := proto.Marshal(&recordv1.Signed{Body: body, Signatures: []*recordv1.Signature{{Key: publicOf(k), Signature: seal.Sign(k, seal.RecordDomain, body)}}})
		return [][]byte{ledger.DirectEntry(raw)}, err
	}
}
