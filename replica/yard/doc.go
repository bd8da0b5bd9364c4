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
package yard
