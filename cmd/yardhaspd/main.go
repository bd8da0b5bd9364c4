// Command yardhaspd is a yard's replica: see yardhaspd --help.
package main

import (
	"os"

	"yardhasp/cmd/yardhaspd/daemon"
)

func main() { os.Exit(daemon.Main(os.Args[1:], os.Stdout, os.Stderr)) }
