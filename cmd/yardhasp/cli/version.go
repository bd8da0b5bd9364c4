package cli

import (
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"yardhasp/ledger"
)

type version struct {
	Version  string `json:"version"`
	Revision string `json:"revision"`
	Changed  bool   `json:"changed"`
	Time     string `json:"time"`
	Go       string `json:"go"`
	Platform string `json:"platform"`
	Ruleset  int    `json:"ruleset"`
	Format   int    `json:"entry_format"`
}

func (a *App) versionCmd() *cobra.Command {
	return &cobra.Command{Use: "version", Short: "Which release this is", Args: args(0, 0), RunE: func(*cobra.Command, []string) error {
		v := version{Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH, Ruleset: ledger.Ruleset, Format: ledger.EntryFormat}
		if b, ok := debug.ReadBuildInfo(); ok {
			v.Version = b.Main.Version
			for _, s := range b.Settings {
				switch s.Key {
				case "vcs.revision":
					v.Revision = s.Value
				case "vcs.time":
					v.Time = s.Value
				case "vcs.modified":
					v.Changed = s.Value == "true"
				}
			}
		}
		return a.print(v, func(p *page) {
			p.line("yardhasp %s", orDash(v.Version))
			if v.Revision != "" {
				p.line("revision %s, %s%s", v.Revision, v.Time, map[bool]string{true: ", with changes"}[v.Changed])
			}
			p.line("%s %s, rules %d, entry format %d", v.Go, v.Platform, v.Ruleset, v.Format)
		})
	}}
}
