package client

import "yardhasp/ledger/code"

// Why an answer that no yard confirmed is shown (AsOf.because).
var (
	// KeptBoard: a board kept on this machine; no yard was asked.
	KeptBoard = code.New("KEPT_BOARD", code.Row{})
	// ConnectionLost: what is shown was read before the connection was lost.
	ConnectionLost = code.New("CONNECTION_LOST", code.Row{})
	// ComputedHere: computed from drawing files on this machine.
	ComputedHere = code.New("COMPUTED_HERE", code.Row{Args: "files:number"})
)
