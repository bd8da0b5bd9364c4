package fakeyard

import (
	"context"

	"google.golang.org/grpc"

	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

type ledgerServer struct {
	servicev1.UnimplementedLedgerServiceServer
	y *Yard
}

func (s *ledgerServer) Submit(_ context.Context, r *servicev1.SubmitRequest) (*servicev1.SubmitResponse, error) {
	s.y.mu.Lock()
	s.y.submits = append(s.y.submits, r.GetSigned())
	s.y.runs = append(s.y.runs, r.GetRun())
	n := len(s.y.submits)
	s.y.mu.Unlock()
	if s.y.OnSubmit == nil {
		return nil, errNone
	}
	receipt, err := s.y.OnSubmit(n, r)
	if err != nil {
		return nil, err
	}
	return &servicev1.SubmitResponse{Receipt: receipt}, nil
}

func (s *ledgerServer) GetReceipt(_ context.Context, r *servicev1.GetReceiptRequest) (*servicev1.GetReceiptResponse, error) {
	if s.y.OnReceipt == nil {
		return nil, errNone
	}
	receipt, err := s.y.OnReceipt(r)
	if err != nil {
		return nil, err
	}
	return &servicev1.GetReceiptResponse{Receipt: receipt}, nil
}

func (s *ledgerServer) GetPanel(_ context.Context, r *servicev1.GetPanelRequest) (*servicev1.GetPanelResponse, error) {
	if s.y.OnPanel == nil {
		return nil, errNone
	}
	return s.y.OnPanel(r.GetPoint())
}

func (s *ledgerServer) GetBoard(_ context.Context, r *servicev1.GetBoardRequest) (*servicev1.GetBoardResponse, error) {
	if s.y.OnBoard == nil {
		return nil, errNone
	}
	b, err := s.y.OnBoard(r)
	if err != nil {
		return nil, err
	}
	return &servicev1.GetBoardResponse{Board: b}, nil
}

func (s *ledgerServer) GetJob(_ context.Context, r *servicev1.GetJobRequest) (*servicev1.GetJobResponse, error) {
	if s.y.OnJob == nil {
		return nil, errNone
	}
	j, err := s.y.OnJob(r)
	if err != nil {
		return nil, err
	}
	return &servicev1.GetJobResponse{Job: j}, nil
}

func (s *ledgerServer) Plan(_ context.Context, r *servicev1.PlanRequest) (*servicev1.PlanResponse, error) {
	if s.y.OnPlan == nil {
		return nil, errNone
	}
	return s.y.OnPlan(r)
}

func (s *ledgerServer) GetDrawing(_ context.Context, r *servicev1.GetDrawingRequest) (*servicev1.GetDrawingResponse, error) {
	if s.y.OnDrawing == nil {
		return nil, errNone
	}
	return s.y.OnDrawing(r.GetYard())
}

func (s *ledgerServer) GetCheckpoint(context.Context, *servicev1.GetCheckpointRequest) (*servicev1.GetCheckpointResponse, error) {
	if s.y.OnCheckpoint == nil {
		return nil, errNone
	}
	text, err := s.y.OnCheckpoint()
	if err != nil {
		return nil, err
	}
	return &servicev1.GetCheckpointResponse{Note: text}, nil
}

func (s *ledgerServer) Watch(r *servicev1.WatchRequest, stream grpc.ServerStreamingServer[servicev1.WatchResponse]) error {
	if s.y.OnWatch == nil {
		return errNone
	}
	outs, end := s.y.OnWatch(r.GetFrom())
	for _, o := range outs {
		if err := stream.Send(&servicev1.WatchResponse{Outcome: o}); err != nil {
			return err
		}
	}
	return end
}

func (s *ledgerServer) Export(r *servicev1.ExportRequest, stream grpc.ServerStreamingServer[servicev1.ExportResponse]) error {
	if s.y.OnExport == nil {
		return errNone
	}
	entries, end := s.y.OnExport(r.GetFrom(), r.GetTo())
	for i, e := range entries {
		if err := stream.Send(&servicev1.ExportResponse{Index: r.GetFrom() + uint64(i), Entry: e}); err != nil {
			return err
		}
	}
	return end
}

func (s *ledgerServer) GetEnergyNow(_ context.Context, r *servicev1.GetEnergyNowRequest) (*servicev1.GetEnergyNowResponse, error) {
	if s.y.OnEnergyNow == nil {
		return nil, errNone
	}
	return s.y.OnEnergyNow(r.GetYard())
}
