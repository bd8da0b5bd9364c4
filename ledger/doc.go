// Package ledger holds the rules: signed entries in, state and outcomes out.
//
// A State is what the entries up to some ledger index amount to: people and
// their keys, yards, isolation points, boxes, drawings, jobs, holds, requests
// to re-energise. Apply adds one entry and says what it did. The package is
// pure: it has no clock, disk, network or randomness, and no result depends on
// the order of a Go map, so the same entries give byte-identical state and the
// same tree root on every replica, for ever. Time arrives in the entry.
//
// Three classes of act follow different rules (Class, in kind.go):
//
//   - an act that protects (a lock on, a person entering, something found live)
//     always takes effect; what breaks a rule about it becomes a flag;
//   - an act that asserts (an opening, a reading, a notice) is always recorded,
//     but counts only when its signer may give it;
//   - an act that lifts protection or gives permission (a release, a request, an
//     energising) is refused unless every condition is met, and the refusal
//     lists each one.
//
// Nothing here says that a machine is dead. The steel lock and the test at the
// point of work do.
//
// # Training
//
// Training has classes, and only the class of authorised employees decides whether
// a lock counts for work. Whoever locked, entered or was responsible for a zone has
// used it. A revision that changes what isolates the zone, and a newly approved
// procedure, mark its users: they are to be trained again. The mark goes with a
// training that names the zone and is not older than the change.
//
// # Written procedures
//
// Procedures are required at a yard from the first one that is published there, or
// from when a manager says so. No record turns that off. It binds the jobs opened
// from that moment on.
//
// Without an approved procedure a job starts only under the eight conditions of
// 1910.147(c)(4)(i). Conditions 1, 2, 3 and 5 are computed again at every revision;
// 4, 6, 7 and 8 are attested. A second person at risk ends the exception, and so
// does a lock box.
//
// The state keeps the hash of a procedure, the history its text. A reader fetches
// the entry and compares the two.
//
// # Zones and drawings
//
// No revision of a drawing narrows a zone by itself. Every point that any drawing
// showed reaching the zone stands against a start there and belongs to what a
// sign-on is promised, until the zone's yard takes it out in its own journal. That
// takes walked drawings, nobody in the zone, and a signer who did not walk those
// drawings.
//
// # Outside employers
//
// A person of an outside employer is a contractor whose employer is not the co-op.
// ContractorView cuts a board down for them in the client, before it is shown or
// kept. A replica holds every answer to an outsider to the same.
//
// # Traps
//
// A map restored from JSON that was left out because it was empty is nil, and
// writing into a nil map panics. A map field carries no omitempty, or whoever writes
// into it makes the map first. The replay test restores at random places.
//
// A rule that makes a point live has its twin in package replica/yard (live, in
// rules.go). Without the twin a yard promises what the ledger then breaks.
package ledger

// Caution is the one line that stands wherever the tool says that a plan
// isolates, that work may start, or that a start is approved.
const Caution = "CAUTION: this is a record, not protection. Hang your own lock, test at the point of work, follow the local code; only licensed and trained people do this work."

// Ruleset is the highest set of rules this release knows.
const Ruleset = 1

// EntryFormat is the newest entry format this release knows. A replica that
// meets a newer one stops: an entry is never skipped.
const EntryFormat = 1

// StateFormat is the format of a serialised State.
const StateFormat = 1
