package replica

import "github.com/hashicorp/raft"

// patient is raft's transport with pipelines that never keep the leader waiting.
//
// In raft 1.8.0 nobody reads the answers any more once a follower refuses an entry.
// With two calls under way, the next send waits for ever, and so does a stop.
// Heartbeats go on meanwhile. So the follower starts no election, and gets no entries
// (hashicorp/raft issue 612).
type patient struct{ *raft.NetworkTransport } // embedded, so that raft still finds its pre-vote calls

func (t *patient) AppendEntriesPipeline(id raft.ServerID, target raft.ServerAddress) (raft.AppendPipeline, error) {
	inner, err := t.NetworkTransport.AppendEntriesPipeline(id, target)
	if err != nil {
		return nil, err
	}
	p := &pipeline{AppendPipeline: inner, answers: make(chan raft.AppendFuture), done: make(chan struct{})}
	go p.pass()
	return p, nil
}

// pipeline keeps the answers that nobody has read yet.
type pipeline struct {
	raft.AppendPipeline
	answers chan raft.AppendFuture
	done    chan struct{}
}

func (p *pipeline) Consumer() <-chan raft.AppendFuture { return p.answers }

// pass takes every answer at once, so that an unread answer does not block the next.
func (p *pipeline) pass() {
	var kept []raft.AppendFuture
	for {
		var out chan raft.AppendFuture
		var next raft.AppendFuture
		if len(kept) > 0 {
			out, next = p.answers, kept[0]
		}
		select {
		case f := <-p.AppendPipeline.Consumer():
			kept = append(kept, f)
		case out <- next:
			kept = kept[1:]
		case <-p.done:
			return
		}
	}
}

// Close must be called once, by the goroutine that sends.
func (p *pipeline) Close() error {
	close(p.done)
	return p.AppendPipeline.Close()
}
