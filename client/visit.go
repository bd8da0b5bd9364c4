package client

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Look is what a person last saw of a job on this machine. It leaves out the stage: an
// earlier word of permission must not stand beside a new answer.
type Look struct {
	// At is when it was read, in Unix ms by the answering yard's clock. 0: never.
	At          int64    `json:"at_unix_ms"`
	Drawings    []string `json:"drawings"`
	Plan        []string `json:"plan"`
	Procedure   uint32   `json:"procedure"`
	Responsible string   `json:"responsible"`
	Coordinator string   `json:"coordinator"`
	// Points are the plan's points, each with its position.
	Points []string `json:"points"`
	Inside []string `json:"inside"`
}

// LookOf is what a job's view shows now.
func LookOf(j *recordv1.JobView) *Look {
	l := &Look{At: j.GetAsOf().GetReadUnixMs(), Drawings: j.GetDrawings(), Plan: j.GetPlan(), Procedure: j.GetProcedure().GetVersion(),
		Responsible: j.GetResponsible(), Coordinator: j.GetCoordinator()}
	for _, p := range j.GetPoints() {
		l.Points = append(l.Points, p.GetPoint()+" "+strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(p.GetPosition().String(), "POSITION_"), "_", " ")))
	}
	for _, s := range j.GetSignedOn() {
		l.Inside = append(l.Inside, s.GetPerson())
	}
	return l
}

// Changed names what differs from an earlier look, in the order of the screen.
func (l *Look) Changed(before *Look) []string {
	var out []string
	lists := func(what string, a, b []string) {
		for _, v := range b {
			if !slices.Contains(a, v) {
				out = append(out, what+" now: "+v)
			}
		}
		for _, v := range a {
			if !slices.Contains(b, v) {
				out = append(out, what+" no more: "+v)
			}
		}
	}
	words := func(what, a, b string) {
		if a != b {
			out = append(out, fmt.Sprintf("%s: %q, was %q", what, b, a))
		}
	}
	lists("drawing", before.Drawings, l.Drawings)
	lists("point of the plan", before.Plan, l.Plan)
	words("procedure version", fmt.Sprint(before.Procedure), fmt.Sprint(l.Procedure))
	words("responsible", before.Responsible, l.Responsible)
	words("coordinator", before.Coordinator, l.Coordinator)
	lists("position", before.Points, l.Points)
	lists("inside", before.Inside, l.Inside)
	return out
}

func (c *Client) lookPath(job string) (string, error) {
	if c.state == "" {
		return "", errors.New("no state folder: nothing is kept of an earlier look")
	}
	return filepath.Join(c.state, "look-"+filepath.Base(job)+".json"), nil
}

// LastLook is what was last seen of a job on this machine. At is 0 if it never was.
func (c *Client) LastLook(job string) (*Look, error) {
	path, err := c.lookPath(job)
	if err != nil {
		return nil, err
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &Look{}, nil
	}
	l := &Look{}
	if err == nil {
		err = json.Unmarshal(data, l)
	}
	if err != nil {
		return nil, fmt.Errorf("read what was last seen of %s: %w; remove the file to begin anew", job, err)
	}
	return l, nil
}

// KeepLook keeps what was seen of a job, for the next time.
func (c *Client) KeepLook(job string, l *Look) error {
	path, err := c.lookPath(job)
	if err != nil {
		return err
	}
	data, err := json.Marshal(l)
	if err != nil {
		return err
	}
	return locked(path, func() error { return writeWhole(path, data) })
}
