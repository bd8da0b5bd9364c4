package cli

import (
	"context"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"yardhasp/client"
	"yardhasp/client/record"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// follower decides which outcomes of a watch a filter picks. What an outcome is about is
// in its entry and in the entries before it. So they are read and applied here.
type follower struct {
	f     record.Filter
	fetch func(ctx context.Context, from, to uint64, each func(index uint64, raw []byte) error) error
	warn  func(format string, v ...any)

	state *ledger.State
	all   *record.Collector
	// blind is set when an entry could not be read. From then on nothing is left out.
	blind bool
}

func (a *App) follower(c *cobra.Command, cl *client.Client, f filter) (*follower, error) {
	if f.state != "" && !slices.Contains(record.States, f.state) {
		return nil, usage(c, "--state %q is none of: %s", f.state, strings.Join(record.States, ", "))
	}
	return &follower{f: record.Filter{At: f.at, Person: f.person, Job: f.job, State: f.state}, fetch: cl.Entries, warn: a.warnf, state: ledger.New(), all: record.NewCollector()}, nil
}

// picks reports whether to print an outcome. In doubt it is printed.
func (w *follower) picks(ctx context.Context, o *recordv1.Outcome) bool {
	e := &record.Event{Accepted: o.GetAccepted()}
	for _, f := range o.GetFlags() {
		e.Flags = append(e.Flags, record.Said{Finding: f})
	}
	if !(record.Filter{State: w.f.State}).Match(e) {
		return false
	}
	if w.f.At == "" && w.f.Person == "" && w.f.Job == "" || w.blind {
		return true
	}
	err := w.fetch(ctx, w.state.Size(), o.GetIndex()+1, func(_ uint64, raw []byte) error {
		entry, err := ledger.Decode(raw)
		if err == nil {
			w.all.Add(entry, w.state.Apply(entry), w.state)
		}
		return err
	})
	if err != nil || uint64(len(w.all.Events)) <= o.GetIndex() {
		w.blind = true
		w.warn("what record %d is about can't be read: from here on everything is printed", o.GetIndex())
		return true
	}
	return w.f.Match(w.all.Events[o.GetIndex()])
}
