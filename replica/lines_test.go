package replica_test

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// lines keeps what replicas say, to be counted.
type lines struct {
	mu  sync.Mutex
	all []string
}

func (*lines) Enabled(context.Context, slog.Level) bool { return true }
func (l *lines) WithAttrs([]slog.Attr) slog.Handler     { return l }
func (l *lines) WithGroup(string) slog.Handler          { return l }

func (l *lines) Handle(_ context.Context, r slog.Record) error {
	line := r.Message
	r.Attrs(func(a slog.Attr) bool { line += fmt.Sprintf(" %s=%v", a.Key, a.Value); return true })
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, line)
	return nil
}

// count says in how many lines a text was.
func (l *lines) count(text string) (n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, s := range l.all {
		if strings.Contains(s, text) {
			n++
		}
	}
	return n
}

func statusCode(err error) codes.Code { return status.Code(err) }
