package faults_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
	stories "yardhasp/testdata/story"
)

// TestStories plays testdata/stories on whole replicas, and then makes every check
// that the seeded scenarios make.
func TestStories(t *testing.T) {
	f, err := stories.Read(os.DirFS("testdata/stories"), "requests.story", "usual.story")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range f.Stories {
		t.Run(s.Name, func(t *testing.T) {
			t.Log(s.Rule)
			played(t, func(ctx context.Context, w *world) {
				l := &telling{texts: texts{}, w: w, ctx: ctx, people: map[string]*person{}}
				defer l.end()
				stories.Play(l, l, s)
			})
		})
	}
}

// telling plays a story in a bubble: people at the yards, with the public client.
type telling struct {
	texts
	w      *world
	ctx    context.Context
	names  map[string]string
	people map[string]*person // by who and where
}

// end closes the clients; a story that could not go on ends here.
func (l *telling) end() {
	for _, p := range l.people {
		p.k.Close()
	}
	if r := recover(); r != nil && r != errStory {
		panic(r)
	}
}

var errStory = errors.New("the story can't go on")

func (l *telling) Helper() {}

func (l *telling) Errorf(format string, args ...any) { l.w.wrong(format, args...) }

func (l *telling) Fatalf(format string, args ...any) {
	l.w.wrong(format, args...)
	panic(errStory)
}

func (l *telling) Given(word string) (map[string]string, error) {
	if word != "leader" {
		return nil, fmt.Errorf("given: there is no beginning %q", word)
	}
	home := l.w.leader()
	far, _ := others(home)
	l.names = map[string]string{"home": home, "far": far, "point": point(home), "job": job(home)}
	return l.names, nil
}

func (l *telling) Pass(d time.Duration) error { return pause(l.ctx, d) }

func (l *telling) Mark() (stories.Mark, error) { return stories.Mark{Time: l.Now()}, nil }

func (l *telling) at(who, yard string) *person {
	if yard == "" {
		yard = l.names["home"]
	}
	p := l.people[who+"@"+yard]
	if p == nil {
		p = l.w.person(who, yard, int64(len(l.people)+1))
		l.people[who+"@"+yard] = p
	}
	return p
}

func (l *telling) Do(a *stories.Act) (stories.Answer, error) {
	if a.Behind != nil || a.Captured != 0 || a.Ago != 0 || a.Grant != 0 || len(a.SignedBy) > 0 {
		return stories.Answer{}, errors.New("whole replicas say by themselves what they had seen and when")
	}
	o := l.at(a.Signer, a.At).ask(l.ctx, strings.TrimSpace(strings.Split(a.Text, "->")[0]), a.Record)
	switch {
	case o.refused != nil:
		return stories.Taken(o.refused.Outcome), nil
	case o.receipt.GetOutcome() == nil:
		return stories.Answer{}, fmt.Errorf("it did not reach the ledger: %s", o.told)
	}
	ans := stories.Taken(o.receipt.GetOutcome())
	ans.Ref = o.receipt.GetRef()
	return ans, nil
}

func (l *telling) Ask(what string, args []string) (stories.Answer, error) {
	if what != "asked" || len(args) != 1 {
		return stories.Answer{}, fmt.Errorf("there is no act and no question %s", what)
	}
	for _, r := range l.at(manager, l.names["far"]).board(l.ctx).GetRequests() {
		if r.GetId() == args[0] {
			return stories.Answer{Says: stories.Word(r.GetState(), "REQUEST_STATE_")}, nil
		}
	}
	return stories.Answer{Says: "not known"}, nil
}

// Until looks ten times a second, for ten seconds.
func (l *telling) Until(so func() bool) {
	for range 100 {
		if pass(100 * time.Millisecond); so() {
			return
		}
	}
}

var errUnsaid = errors.New("whole replicas can't be told that")

func (l *telling) Sign(*stories.Act) (any, error) { return nil, errUnsaid }

func (l *telling) Send(*stories.Act, any) (stories.Answer, error) {
	return stories.Answer{}, errUnsaid
}

func (l *telling) Confirm(string, string, *uint64) ([]stories.Answer, error) { return nil, errUnsaid }

func (l *telling) Proofs(string) ([]*recordv1.Reading, error) { return nil, errUnsaid }

func (l *telling) Drawing(string) (*recordv1.Drawing, error) { return nil, errUnsaid }
