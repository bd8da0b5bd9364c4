package record

import (
	"context"
	"io"

	"yardhasp/client"
	"yardhasp/ledger"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Rests says what a history rests on.
type Rests struct {
	Coop   string `json:"coop"`
	Ledger string `json:"ledger"`
	// Size and Root are those of the export that it was read from. "yardhasp verify" of
	// an export of that size computes the same root.
	Size uint64 `json:"size,string"`
	Root string `json:"root"`
	// AsOfUnixMs is the ledger time of its last entry.
	AsOfUnixMs int64    `json:"as_of_unix_ms,string"`
	SignedBy   []string `json:"signed_by"`
	// How says how it was verified, and against what.
	How string `json:"how"`
	// Earlier are the sizes of kept checkpoints that this history continues.
	Earlier []uint64 `json:"earlier,omitempty"`
	// Caution is ledger.Caution: no record is permission.
	Caution string `json:"caution"`
}

// History is what a verified export says, filtered.
type History struct {
	Rests  Rests
	Filter Filter
	Events []*Event
	// Holds are the locks of which the filter picked the going on or the coming off.
	Holds     []*Hold
	Readings  []*Reading
	Removals  []*Removal
	HandOvers []*HandOver
	Training  []*Training
	Machines  []Machine
	// Names are people's names by id.
	Names map[string]string
}

// Read takes the history from an export, verified as client.VerifyExport does. Without a
// ledger id it cannot tell whose ledger it is, and says so.
func Read(r io.Reader, ledgerID []byte, f Filter, earlier ...[]byte) (*History, error) {
	c := NewCollector()
	v, err := client.VerifyEach(r, ledgerID, func(e *ledger.Entry, out *recordv1.Outcome, s *ledger.State) { c.Add(e, out, s) }, earlier...)
	if err != nil {
		return nil, err
	}
	how := "every entry and signature was checked again on this machine; the root is the one its checkpoint signs"
	if ledgerID == nil {
		how += "; whose ledger it is was NOT checked"
	}
	h := c.history(f)
	h.Rests = Rests{Coop: v.Coop, Ledger: v.Ledger, Size: v.Size, Root: v.Root, AsOfUnixMs: v.LastUnixMs, SignedBy: v.SignedBy, How: how, Earlier: v.Earlier, Caution: ledger.Caution}
	for id, p := range v.State.People {
		h.Names[id] = p.Name
	}
	return h, nil
}

// Fetch takes the history from the yards, up to their newest checkpoint. On the way it
// is verified exactly as a file is.
func Fetch(ctx context.Context, cl *client.Client, f Filter) (*History, error) {
	r, w := io.Pipe()
	sent := make(chan error, 1)
	go func() {
		_, err := cl.Export(ctx, w)
		w.CloseWithError(err)
		sent <- err
	}()
	h, err := Read(r, cl.Profile().Ledger, f)
	// If the reader gave up, this stops the writer too.
	r.Close()
	if serr := <-sent; serr != nil && (err == nil || serr != io.ErrClosedPipe) {
		return nil, serr
	}
	return h, err
}

// history picks what a filter asks for.
func (c *Collector) history(f Filter) *History {
	h := &History{Filter: f, Events: []*Event{}, Names: map[string]string{}}
	picked := map[*Event]bool{}
	for _, e := range c.Events {
		if f.Match(e) {
			picked[e], h.Events = true, append(h.Events, e)
		}
	}
	for _, v := range c.Holds {
		if picked[v.on] || picked[v.off] {
			h.Holds = append(h.Holds, v)
		}
	}
	for _, v := range c.sheets.readings {
		if picked[v.of] {
			h.Readings = append(h.Readings, v)
		}
	}
	for _, v := range c.sheets.removals {
		if picked[v.of] {
			h.Removals = append(h.Removals, v)
		}
	}
	for _, v := range c.sheets.handOvers {
		if picked[v.of] {
			h.HandOvers = append(h.HandOvers, v)
		}
	}
	for _, v := range c.sheets.training {
		if picked[v.of] {
			h.Training = append(h.Training, v)
		}
	}
	h.Machines = c.sheets.machines(h.Events)
	return h
}
