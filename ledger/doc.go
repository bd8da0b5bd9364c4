// Package ledger holds the rules: signed entries in, state and outcomes out.
//
// A State is what the entries up to some ledger index amount to: people and
// their keys, yards, isolation points, boxes, drawings, jobs, holds, requests
// to re-energise. Apply adds one entry and says what it did. The package is
// pure: it has no clock, disk, network or randomness, and no result depends on
// the order of a Go map, so the same entries give byte-identical state and the
// same tree root on every replica, for ever. Time arrives in the entry.
//
// Three classes of act follow different rules (see permit.go):
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
