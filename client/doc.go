// Package client speaks to a co-op's yards for a person or a program. It finds a
// replica, signs records, sends them without entering one twice by mistake, reads,
// watches and exports. It keeps what could not be sent.
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
// Every record carries a ticket (device, counter) that is on disk before it is used.
// However often a record is sent, it is sent as the same bytes. After a lost connection
// it is sent again only to the same yard, because another yard would record a second
// lock. Another yard is tried only in two cases: the first yard certainly does not have
// the record, or the record goes straight to the quorum, where tickets are unique in the
// whole ledger. When nobody answers, the error is UnknownOutcome: treat the record as
// not recorded, and ask for its receipt.
//
// # When no yard is reachable
//
// Locks, releases, sign-ons, sign-offs, readings and notices are kept in an outbox on
// this machine. Their receipt says so: NOT SENT. Acts at a panel are never kept. They
// must be done again at the panel.
//
// # Files
//
// A Profile (profile.yaml) names the ledger, the person, the key file and the
// yards with their pinned keys. The state folder holds tickets.json,
// outbox.jsonl and board.json (the last board read, for reading offline).
package client
