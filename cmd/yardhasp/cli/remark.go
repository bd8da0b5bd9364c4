package cli

import (
	"github.com/spf13/cobra"

	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// remarkCmd records words about a job.
func (a *App) remarkCmd() *cobra.Command {
	return &cobra.Command{Use: "remark JOB TEXT", Short: "Record a remark about a job, for those who read of it later", Args: args(2, 2),
		Long: "Anybody may. It stays in the job's history and changes nothing: it protects nobody.\n" +
			"What is unsafe has a record of its own: \"yardhasp found-live\", \"yardhasp\nfound-closed\", \"yardhasp found-started\", \"yardhasp found-choked\".",
		Example: "  yardhasp remark boot-7 \"a guard bolt is missing at the boot\"\n  yardhasp history --job boot-7",
		RunE: func(c *cobra.Command, args []string) error {
			return a.submit(c, &recordv1.Record{Act: &recordv1.Record_Remark{Remark: &recordv1.Remark{Job: args[0], Text: args[1]}}})
		}}
}
