package cli

import "github.com/spf13/cobra"

const helpTemplate = `{{with (or .Long .Short)}}{{. | trimTrailingWhitespaces}}
{{end}}{{if .HasExample}}
EXAMPLES
{{.Example}}
{{end}}{{if or .Runnable .HasSubCommands}}
{{.UsageString}}{{end}}`

const usageTemplate = `USAGE
{{if .HasAvailableSubCommands}}  {{.CommandPath}} <command>{{else}}  {{.UseLine}}{{end}}
{{if .HasAvailableSubCommands}}
COMMANDS{{range .Commands}}{{if and .IsAvailableCommand (ne .Name "help")}}
  {{rpad .Name .NamePadding }} {{.Short}}{{end}}{{end}}
{{end}}{{if .HasAvailableLocalFlags}}
FLAGS
{{.LocalFlags.FlagUsages | trimTrailingWhitespaces}}
{{end}}{{if .HasAvailableInheritedFlags}}
FLAGS OF EVERY COMMAND
{{.InheritedFlags.FlagUsages | trimTrailingWhitespaces}}
{{end}}{{if .HasHelpSubCommands}}
TOPICS{{range .Commands}}{{if .IsAdditionalHelpTopicCommand}}
  {{rpad .Name .NamePadding}} {{.Short}}{{end}}{{end}}
{{end}}`

func topics() []*cobra.Command {
	return []*cobra.Command{
		{Use: "exit-codes", Short: "What the exit codes mean", Long: exitCodesText},
		{Use: "environment", Short: "Which variables are read", Long: environmentText},
		drawingsTopic(),
		{Use: "formats", Short: "What is printed, and how scripts read it", Long: formatsText},
	}
}

const exitCodesText = `EXIT CODES

  0    the answer was given, or the record was taken: read its status
  1    failure of any other kind
  2    the command line makes no sense
  3    refused by the rules: stderr lists every condition that is not met
  4    not found
  5    no quorum, or no yard could be reached: nothing was recorded
  6    outcome unknown: treat it as not recorded, ask with "yardhasp receipt"
  7    a signature is missing or does not hold, or a file or token was changed
  8    not sent: kept on this machine only, nobody else knows
  130  interrupted

A lock that is written down but promises nothing exits with 0 too: the status
(CONFIRMED, HELD LOCALLY, CONTESTED, UNCONFIRMED, LIVE) says what it is worth.`

const environmentText = `ENVIRONMENT

A flag wins over its variable, a variable over the profile.

  YARDHASP_PROFILE          --profile
  YARDHASP_YARD             --yard
  YARDHASP_TIMEOUT          --timeout, as 10s
  YARDHASP_OUTPUT           --output
  YARDHASP_COLOR            --color
  YARDHASP_UNITS            --units
  YARDHASP_PASSPHRASE_FILE  --passphrase-file
  XDG_CONFIG_HOME           folder of yardhasp/profile.yaml; ~/.config otherwise
  XDG_STATE_HOME            folder of yardhasp/<ledger>/: tickets, outbox and the
                            last board; ~/.local/state otherwise
  NO_COLOR                  no colour when it is set to anything
  CLICOLOR                  no colour when it is 0

Secrets are never taken from a flag or a variable, only from files or from the
terminal.`

const formatsText = `FORMATS

Results go to stdout, everything else to stderr.

  table   for people. Times are RFC 3339 in UTC when stdout is no terminal. The
          first line says how the answer is known.
  json    the message of the contract (proto/yardhasp), every field present, names
          as in the contract, 64-bit numbers as strings, bytes in base64, times
          as Unix milliseconds (fields that end in _unix_ms). "watch" prints one
          object a line. Ignore fields you don't know. What the rules say is a
          code with arguments, to go by; "english" beside it is the sentence.
  yaml    the same as json.

An answer that is not confirmed (as_of.confirmed is false) holds no permission in
any format: stages and request states that would be one are left unspecified, and
a list of missing conditions is never empty. A go-ahead is given by the panel's own
yard alone, which needs no quorum to answer.

A refused record prints a receipt with STATUS_REFUSED and the outcome, and its
conditions on stderr as well.`
