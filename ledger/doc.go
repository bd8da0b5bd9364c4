// Package ledger holds the rules: signed entries go in, state and outcomes come out.
//
// A State is the result of all entries up to some ledger index: people and their keys,
// yards, isolation points, boxes, drawings, jobs, holds, requests to re-energise. Apply
// adds one entry and says what it did. The package is pure: it has no clock, disk,
// network or randomness, and no result depends on the order of a Go map. So the same
// entries give byte-identical state and the same tree root on every replica, for ever.
// Time arrives in the entry.
//
// Three classes of act follow different rules (Class, in kind.go):
//
//   - An act that protects always takes effect: a lock on, a person entering,
//     something found live. Every rule that it breaks becomes a flag.
//   - An act that asserts is always recorded: an opening, a reading, a notice. It
//     counts only when its signer may give it.
//   - An act that lifts protection or gives permission is refused unless every
//     condition is met: a release, a request, an energising. The refusal lists each
//     condition that is not met.
//
// Nothing here says that a machine is dead. Only the steel lock and the test at the
// point of work do.
//
// # Training
//
// Training has classes. Only the class of authorised employees decides whether a lock
// counts for work. A person has used a zone if they locked it, entered it or were
// responsible for it. All users of a zone must be trained again after a revision that
// changes what isolates the zone, and after a procedure is newly approved. That duty
// ends with a training that names the zone and is not older than the change.
//
// # Written procedures
//
// A yard needs procedures from the first one that is published there, or from the time
// that a manager names. No record turns that off. It binds the jobs opened from that
// moment on.
//
// Without an approved procedure a job starts only under the eight conditions of
// 1910.147(c)(4)(i). Conditions 1, 2, 3 and 5 are computed again at every revision.
// Conditions 4, 6, 7 and 8 are attested. A second person at risk ends the exception, and
// so does a lock box.
//
// The state keeps only the hash of a procedure. The history keeps its text. A reader
// fetches the entry and compares the two.
//
// # Zones and drawings
//
// No revision of a drawing narrows a zone by itself. Every point that any drawing showed
// reaching the zone stands against a start there. It also belongs to what a sign-on is
// promised. This lasts until the zone's yard takes the point out in its own journal. To
// do so, the drawings must be walked, nobody may be in the zone, and the signer must not
// be the person who walked those drawings.
//
// # Outside employers
//
// A person of an outside employer is a contractor whose employer is not the co-op. In
// the client, ContractorView reduces a board for them before it is shown or kept. A
// replica applies the same limit to every answer it gives to an outsider.
//
// # Traps
//
// A map that was left out of the JSON because it was empty is nil after Restore, and
// writing into a nil map panics. So a map field either carries no omitempty, or its
// writer makes the map first. The replay test restores at random places.
//
// A rule that makes a point live has a twin in package replica/yard (live, in rules.go).
// Without the twin, a yard makes promises that the ledger then breaks.
package ledger

// Caution is the one line that stands wherever the tool says that a plan isolates, that
// work may start, or that a start is approved.
const Caution = "CAUTION: this is a record, not protection. Hang your own lock, test at the point of work, follow the local code; only licensed and trained people do this work."

// Ruleset is the highest set of rules this release knows.
const Ruleset = 1

// EntryFormat is the newest entry format this release knows. A replica that
// meets a newer one stops: an entry is never skipped.
const EntryFormat = 1

// StateFormat is the format of a serialised State.
const StateFormat = 1
