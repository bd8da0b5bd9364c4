package cli

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"yardhasp/client"
	"yardhasp/client/drawing"
	"yardhasp/ledger"
	"yardhasp/ledger/energy"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

func (a *App) drawingCmd() *cobra.Command {
	return a.group("drawing", "Yard drawings: check, publish, walk, narrow, show, picture, diff", "", a.drawingCheck(), a.drawingPublish(), a.drawingWalk(), a.drawingNarrow(), a.drawingShow(),
		a.drawingPicture(), a.drawingDiff())
}

// drawings are parsed files, one for each yard.
type drawings struct {
	list    []*recordv1.Drawing
	sources map[string]*drawing.Source
}

func readDrawings(files []string) (*drawings, error) {
	ds := &drawings{sources: map[string]*drawing.Source{}}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			return nil, err
		}
		s, err := drawing.Parse(f, data)
		if err != nil {
			return nil, err
		}
		yard := s.Drawing.GetYard()
		if ds.sources[yard] != nil {
			return nil, fmt.Errorf("%s: there is a second drawing of yard %q: give one a yard", f, yard)
		}
		ds.list, ds.sources[yard] = append(ds.list, s.Drawing), s
	}
	return ds, nil
}

// report prints problems at their place in the files. It fails when the drawings cannot
// be used. A problem in a yard without a file is shown with the name of the yard.
func (a *App) report(ds *drawings, problems []energy.Problem) error {
	for _, p := range problems {
		text := p.String()
		if s := ds.sources[p.Yard]; s != nil {
			text = s.Place(p.Field, p.Text).Error()
		}
		if p.Warning {
			a.warnf("%s", text)
		} else {
			a.errorf("%s", text)
		}
	}
	if energy.Refused(problems) {
		return errors.New("the drawings can't be used: correct what is listed above")
	}
	return nil
}

// checked is the printed result of checking drawings.
type checked struct {
	Drawings []string `json:"drawings"`
	Points   int      `json:"points"`
	Zones    []string `json:"zones"`
	Warnings int      `json:"warnings"`
}

func (a *App) drawingCheck() *cobra.Command {
	return &cobra.Command{Use: "check FILE...", Short: "Check drawings together, asking nobody", Args: args(1, -1), Example: "  yardhasp drawing check *.yaml",
		RunE: func(c *cobra.Command, files []string) error {
			ds, err := readDrawings(files)
			if err != nil {
				return err
			}
			g, problems := energy.Build(ds.list)
			problems = withWarnings(ds, problems)
			if err := a.report(ds, problems); err != nil {
				for _, d := range ds.list {
					err = notDrawn(err, d, ds.list, "give the drawing of %s too: links of %s end there")
				}
				return err
			}
			out := checked{revisions(ds.list), len(g.Points()), g.Zones(), len(problems)}
			return a.print(out, func(p *page) {
				p.line("nothing stands in the way of using these drawings; only a walk against the steel shows whether they are true")
				p.list("drawings", out.Drawings)
				p.list("zones", out.Zones)
				p.line("\n%d isolation points, %d warnings", out.Points, out.Warnings)
			})
		}}
}

func revisions(ds []*recordv1.Drawing) []string {
	var out []string
	for _, d := range ds {
		out = append(out, fmt.Sprintf("%s revision %d", d.GetYard(), d.GetRevision()))
	}
	return out
}

func (a *App) drawingPublish() *cobra.Command {
	return &cobra.Command{Use: "publish FILE", Short: "Make a drawing its yard's current one", Args: args(1, 1),
		Long:    "Enters the isolation points that are new on it, as live: they need no \"yardhasp point\nadd\". The yards that its links end in are published first. It supports work once a\nqualified person has walked it: \"yardhasp drawing walk\".",
		Example: "  yardhasp drawing publish stonebend.yaml",
		RunE: func(c *cobra.Command, files []string) error {
			ds, err := readDrawings(files)
			if err != nil {
				return err
			}
			d := ds.list[0]
			raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(d)
			if err != nil {
				return err
			}
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				others, _, err := otherDrawings(ctx, cl, d.GetYard())
				if err != nil {
					return err
				}
				if err := a.report(ds, energy.Check(d, others)); err != nil {
					return notDrawn(err, d, others, "publish the drawing of %s first: links of %s end there, and it has none yet")
				}
				rec := &recordv1.Record{Act: &recordv1.Record_PublishDrawing{PublishDrawing: &recordv1.PublishDrawing{Drawing: raw}}}
				r, err := cl.Submit(ctx, rec)
				var answer *client.Answer
				if errors.As(err, &answer) {
					for _, f := range answer.Fields {
						a.errorf("%s", ds.sources[d.GetYard()].Place(f.Path, f.Text).Error())
					}
				}
				if err := a.settled(cl, ledger.KindOf(rec), r, err); err != nil {
					return err
				}
				a.hintf("the new ones of its isolation points are entered with it, as live; a qualified person walks it next: \"yardhasp drawing walk %s --revision %d\"", d.GetYard(), d.GetRevision())
				return nil
			})
		}}
}

// notDrawn adds, to the error for a drawing that cannot be used, which drawings of other
// yards it needs and does not find beside it.
func notDrawn(err error, d *recordv1.Drawing, beside []*recordv1.Drawing, hint string) error {
	var missing []string
	for _, l := range d.GetLinks() {
		for _, end := range []string{l.GetFrom(), l.GetTo()} {
			yard, _, other := strings.Cut(end, "/")
			there := func(b *recordv1.Drawing) bool { return b.GetYard() == yard }
			if other && yard != d.GetYard() && !slices.ContainsFunc(beside, there) && !slices.Contains(missing, yard) {
				missing = append(missing, yard)
			}
		}
	}
	if len(missing) == 0 {
		return err
	}
	slices.Sort(missing)
	return &hinted{err, []string{fmt.Sprintf(hint, strings.Join(missing, ", "), d.GetYard())}}
}

// otherDrawings are the current drawings of the other yards in the profile.
func otherDrawings(ctx context.Context, cl *client.Client, but string) ([]*recordv1.Drawing, *recordv1.AsOf, error) {
	var out []*recordv1.Drawing
	var asOf *recordv1.AsOf // the least certain of all answers
	for _, y := range cl.Profile().Yards {
		if y.ID == but {
			continue
		}
		r, err := cl.Drawing(ctx, y.ID)
		var answer *client.Answer
		if errors.As(err, &answer) && answer.Code == codes.NotFound {
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		if asOf == nil || !r.GetAsOf().GetConfirmed() {
			asOf = r.GetAsOf()
		}
		d := &recordv1.Drawing{}
		if err := proto.Unmarshal(r.GetDrawing(), d); err != nil {
			return nil, nil, fmt.Errorf("drawing of %s can't be read: %w", y.ID, err)
		}
		if len(r.GetDrawing()) > 0 {
			out = append(out, d)
		}
	}
	return out, asOf, nil
}

func (a *App) drawingWalk() *cobra.Command {
	var revision uint32
	c := &cobra.Command{Use: "walk YARD", Short: "Record that you walked a drawing against the steel", Args: args(1, 1),
		Long:    "For a qualified person. Names the revision you walked; if another one is current by\nnow, nothing is signed.",
		Example: "  yardhasp drawing walk stonebend --revision 3"}
	c.Flags().Uint32Var(&revision, "revision", 0, "the revision you walked")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := need(c, "revision"); err != nil {
			return err
		}
		return a.with(c, func(ctx context.Context, cl *client.Client) error {
			raw, d, err := a.current(ctx, cl, args[0])
			if err != nil {
				return err
			}
			if d.GetRevision() != revision {
				return fmt.Errorf("the current drawing of %s is revision %d, not %d: walk that one", args[0], d.GetRevision(), revision)
			}
			sum := sha256.Sum256(raw)
			rec := &recordv1.Record{Act: &recordv1.Record_WalkDrawing{WalkDrawing: &recordv1.WalkDrawing{Yard: args[0], Revision: revision, DrawingHash: sum[:]}}}
			r, err := cl.Submit(ctx, rec)
			return a.settled(cl, ledger.KindOf(rec), r, err)
		})
	}
	return c
}

func (a *App) current(ctx context.Context, cl *client.Client, yard string) ([]byte, *recordv1.Drawing, error) {
	r, err := cl.Drawing(ctx, yard)
	if err != nil {
		return nil, nil, err
	}
	d := &recordv1.Drawing{}
	if err := proto.Unmarshal(r.GetDrawing(), d); err != nil {
		return nil, nil, fmt.Errorf("drawing of %s can't be read: %w", yard, err)
	}
	if r.GetWalkedBy() == "" {
		a.warnf("nobody has walked this revision against the steel")
	} else {
		a.hintf("walked against the steel by %s, %s", r.GetWalkedBy(), a.when(r.GetWalkedUnixMs()))
	}
	return r.GetDrawing(), d, nil
}

func (a *App) drawingShow() *cobra.Command {
	return &cobra.Command{Use: "show YARD", Short: "Print a yard's current drawing, as a file", Args: args(1, 1), Example: "  yardhasp drawing show stonebend > stonebend.yaml",
		RunE: func(c *cobra.Command, args []string) error {
			return a.with(c, func(ctx context.Context, cl *client.Client) error {
				_, d, err := a.current(ctx, cl, args[0])
				if err != nil {
					return err
				}
				return a.print(d, func(p *page) { p.buf.Write(drawing.Write(d)) })
			})
		}}
}
