// Package client speaks to a co-op's yards for a person or a program: it finds
// a replica, signs records, sends them without ever entering one twice by
// mistake, reads, watches, exports, and keeps what could not be sent.
//
// # Which yard
//
// A record goes to the yard whose word counts: a lock to the home yard of its
// point or box, a release to the yard that wrote the hold, an act at a panel
// only to the panel's yard. Everything else goes to the person's own yard
// first, then to the others.
//
// # Sending again
//
// Every record carries a ticket (device, counter) that is on disk before it is
// used, and is sent as the same bytes however often it is sent. After a
// connection is lost it is sent again to the same yard only: another yard would
// write down a second lock. Another yard is tried only when the first certainly
// has not got it, or when the record goes straight to the quorum, where tickets
// are unique in the whole ledger. When nobody answers, the error is
// UnknownOutcome: treat it as not recorded, and ask for the receipt.
//
// # When no yard is reachable
//
// Locks, releases, sign-ons and sign-offs, readings and notices are kept in an
// outbox on this machine, and their receipt says so: NOT SENT. Acts at a panel
// are never kept; they are done again at the panel.
//
// # Files
//
// A Profile (profile.yaml) names the ledger, the person, the key file and the
// yards with their pinned keys. The state folder holds tickets.json,
// outbox.jsonl and board.json (the last board read, for reading offline).
package client
