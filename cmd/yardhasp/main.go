// Command yardhasp is the command line of a co-op's isolation ledger. Run
// "yardhasp help".
package main

import "yardhasp/cmd/yardhasp/cli"

func main() { cli.Main() }
