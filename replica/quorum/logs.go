package quorum

import (
	"context"
	"io"
	"log/slog"
	"strings"

	"github.com/hashicorp/go-hclog"
)

// Hclog sends raft's log lines to slog, mostly at a lower level: raft logs much that
// only a developer needs.
func Hclog(to *slog.Logger) hclog.Logger {
	l := hclog.NewInterceptLogger(&hclog.LoggerOptions{Name: "raft", Output: io.Discard, Level: hclog.Warn})
	l.RegisterSink(&sink{to})
	return l
}

type sink struct{ to *slog.Logger }

func (s *sink) Accept(name string, level hclog.Level, msg string, args ...any) {
	lv := slog.LevelDebug
	switch {
	case level >= hclog.Error:
		lv = slog.LevelWarn // for raft an unreachable yard is an error, for us it is ordinary
	case level == hclog.Warn:
		lv = slog.LevelInfo
	}
	s.to.Log(context.Background(), lv, strings.TrimSpace(msg), append([]any{"from", name}, args...)...)
}
