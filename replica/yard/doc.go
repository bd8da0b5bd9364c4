// Package yard is a yard's journal and its promises (protocol.md 3.4,
// decisions.md 1-11 and 15).
//
// # The pure part
//
// A Yard is the only writer of its journal. It has no clock, disk, network,
// randomness or goroutine. Time comes in as an argument. What must be written or
// answered comes out as Effects. A Yard knows two things: the state that it was
// last shown, and its own journal. It works out every promise anew from these two
// (rules.go). So no promise depends on having seen a certain entry arrive. A Yard
// is not safe for concurrent use: one goroutine owns it.
//
// # What the owner must do
//
//  1. Call View first, after every change of the applied state. A restored
//     snapshot is such a change. The Yard keeps the pointer to the state. So the
//     state may change only while the owner holds back all other calls.
//  2. Append the records of Effects.Append to the File, in order, before doing
//     anything else with them. The records of several calls may go in one Append.
//     Then call Appended. If Append fails, call Broken: the Yard has counted the
//     records already. It must not promise again until a restart has read what is
//     really on the disk.
//  3. Send a Reply only once everything up to Reply.Seq is durable. This holds for
//     a repeated Reply too. Forward (Pending) after that. The order is: write,
//     answer, forward (decisions.md 8).
//  4. Call Diverged before View when replicas are known to hold different
//     histories. Do so after every start until that is settled.
//  5. Show Panel as it is at the moment of the asking. Never print a go-ahead: the
//     paper would still say yes after the answer has changed.
//
// # The file
//
// File is the append-only journal on the disk, with its tail mark (file.go).
//
// The journal is synced first and the tail mark second. These two syncs are most of
// what a lock costs while the yard is cut off. Syncing both at once took 27 to 45 %
// of that time when it was measured. But then the mark may reach the disk without
// its record, and after a power cut this reads as a lost tail. To sync both at once,
// a copy of the record would have to stand beside the mark, so that the journal can
// be completed from it. The explorer would need that crash as one of its steps
// (decisions.md 8). The journal's space is written in advance, so that its sync
// writes no metadata.
//
// # A trap
//
// Each rule of the ledger that makes a point live needs the same rule in live
// (rules.go). Without it a yard gives a promise that the ledger then breaks. The rule
// for a closing without a go-ahead is easily missed. Two tests show it: seed 6647 of
// the fault tests, and the explorer's configuration "closing-bare".
package yard
