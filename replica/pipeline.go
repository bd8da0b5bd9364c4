package replica

import "github.com/hashicorp/raft"

// patient is raft's transport with pipelines that never leave the leader waiting.
//
// raft 1.8.0: once a follower refuses an entry nobody reads the answers any more;
// with two calls in flight the next send then waits for ever, and so does a stop.
// Heartbeats go on meanwhile, so that the follower elects nobody and gets nothing
// (hashicorp/raft issue 612).
type patient struct{ *raft.NetworkTransport } // embedded, so that pre-vote stays

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

// pass takes every answer at once, so that those behind it are taken too.
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

// Close is called once, by the goroutine that sends.
func (p *pipeline) Close() error {
	close(p.done)
	return p.AppendPipeline.Close()
}
