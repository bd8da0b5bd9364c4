// Package cli is the yardhasp command: one grammar, trade verbs, plain words.
//
// What a command found goes to stdout, everything else to stderr, as lines that
// begin with "error:", "hint:" or "warning:". Every screen begins with when and
// how its answer is known; one that is not confirmed holds no word of
// permission. Nothing is told by colour alone. "job show" calls whoever has a lock
// and no sign-on "unknown", and counts them as inside.
package cli
