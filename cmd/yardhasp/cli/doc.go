// Package cli is the yardhasp command: one grammar, trade verbs, plain words.
//
// What a command found goes to stdout. Everything else goes to stderr, as lines that
// begin with "error:", "hint:" or "warning:". Every screen begins with when and how its
// answer is known. A screen that is not confirmed has no word of permission. Nothing is
// shown by colour alone. "job show" shows people who have a lock and no sign-on as
// "unknown", and counts them as inside.
package cli
