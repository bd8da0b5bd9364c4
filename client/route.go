package client

import (
	"context"

	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// home is the yard whose journal a record belongs in first, or "" if there is none.
// jobYard returns the yard of a job's zone.
func home(rec *recordv1.Record, jobYard func(job string) string) string {
	kind := ledger.KindFor(rec)
	about := kind.About(rec)
	switch kind.Home {
	case ledger.AtPoint:
		return ledger.YardOf(about.Point)
	case ledger.AtBox:
		return ledger.YardOf(about.Box)
	case ledger.AtTarget:
		return ledger.YardOf(about.Point + about.Box)
	case ledger.AtZone:
		return ledger.YardOf(about.Zone)
	case ledger.AtFirstPoint:
		if len(about.Points) > 0 {
			return ledger.YardOf(about.Points[0])
		}
	case ledger.AtJob:
		return jobYard(about.Job)
	case ledger.AtRecord:
		return ledger.YardOf(about.Record)
	}
	return ""
}

// prepare asks the panel's yard what an act there must carry, and fills it in.
func (c *Client) prepare(ctx context.Context, rec *recordv1.Record, yard string) (run string, err error) {
	p, err := c.panelAt(ctx, ledger.KindFor(rec).About(rec).Point, yard)
	if err != nil {
		return "", err
	}
	switch a := rec.GetAct().(type) {
	case *recordv1.Record_Isolate:
		a.Isolate.Moved = p.GetMoved()
	case *recordv1.Record_Closed:
		a.Closed.Moved = p.GetMoved()
	}
	return p.GetRun(), nil
}

// jobYard is the home yard of a job's zone, as far as it is known.
func (c *Client) jobYard(ctx context.Context) func(string) string {
	return func(job string) string {
		v, err := c.Job(ctx, job, servicev1.Consistency_CONSISTENCY_LOCAL)
		if err == nil {
			return ledger.YardOf(v.GetZone())
		}
		if b, _, err := c.LastBoard(); err == nil {
			for _, j := range b.GetJobs() {
				if j.GetId() == job {
					return ledger.YardOf(j.GetZone())
				}
			}
		}
		return ""
	}
}
