// Package yard is a yard's journal and its promises (protocol.md 3.4,
// decisions.md 1-11 and 15).
//
// # The pure part
//
// A Yard is the one serial writer of its journal. It has no clock, disk,
// network, randomness or goroutine: time comes in as an argument, and what must
// be written or answered comes out as Effects. Everything it knows is the state
// that it was last shown and its own journal; every promise is worked out anew
// from these two (rules.go), so that nothing hangs on having seen some entry go
// by. It is not safe for concurrent use: one goroutine owns it.
//
// # What the owner must do
//
//  1. Call View after every change of the applied state, a restored snapshot
//     included, before anything else. The Yard keeps the pointer: the state may
//     change only while the owner holds it back from other calls.
//  2. Append the records of Effects.Append to the File, in order, before
//     anything else is done with them. Several calls' records may go in one
//     Append. Then call Appended. If Append fails, call Broken: the Yard has
//     counted the records already, and must not promise again until a restart
//     has read what is really on the disk.
//  3. Send a Reply only once everything up to Reply.Seq is durable, a repeated
//     one too. Forward (Pending) after that: write, answer, forward
//     (decisions.md 8).
//  4. Call Diverged before View once replicas are known to hold different
//     histories, after every start until that is settled.
//  5. Show Panel as it is at the moment of the asking; never print a go-ahead.
//
// # The file
//
// File is the append-only journal on the disk, with its tail mark (file.go).
//
// Journal and tail mark are synced one after the other. That is most of what a lock
// costs while the yard is cut off. Both at once took 27 to 45 % of the time when it
// was measured, but then a mark may be on the disk without its record, and a power
// cut reads as a lost tail. To sync both at once, a copy of the record would have to
// stand beside the mark, to complete the journal from, and the explorer would need
// that crash as one of its steps (decisions.md 8). The journal is laid out in
// advance, so that its sync writes no metadata.
//
// # A trap
//
// A rule of the ledger that makes a point live has its twin in live (rules.go).
// Without it a yard promises what the ledger then breaks. Closings with no go-ahead
// lacked theirs: seed 6647 of the fault tests found it, and the explorer's
// configuration "closing-bare" shows it now.
package yard
