// Package seal holds the three things that make a ledger hard to change
// unnoticed: signatures over records, the right edge of the Merkle tree, and
// signed checkpoints. It is pure: no clock, disk, network or randomness.
//
// # Signatures
//
// A signature is Ed25519 (RFC 8032), checked by crypto/ed25519 and nothing
// else: two libraries can disagree about crafted signatures, and then two
// replicas would disagree about the ledger. The signed bytes are
//
//	domain || 0x00 || body
//
// where domain is one of the Domain constants and body is the bytes exactly as
// they are stored; nothing is ever marshalled again. So a record's signature can
// never be passed off as an envelope's.
//
// # Fingerprints
//
// A key is named by "SHA256:" and the unpadded base64 of the SHA-256 over
//
//	uint32(11) || "ssh-ed25519" || uint32(32) || key
//
// (lengths big-endian), which is what ssh-keygen -l prints (RFC 4253 section
// 6.6, RFC 8709 section 4).
//
// # Tree
//
// The tree is the one of RFC 6962 section 2.1: SHA-256, leaf hash over 0x00 ||
// leaf, node hash over 0x01 || left || right, and the root of the empty tree is
// SHA-256 of nothing. An [Edge] is its right edge: the roots of the complete
// subtrees that the leaves split into, largest first. It is all that is needed
// to add leaves and to know the root. As JSON it is the size and the hashes in
// one base64 string:
//
//	{"size":3,"hashes":"+sVCA+fMaWzw38tCySodnbr3CtnmIfS9jZhmLwDjwSUCmNEikG3PwQiSy1OnOZL8W59JPqTJutsnt5G0Enp/5w=="}
//
// # Checkpoints
//
// A checkpoint is a C2SP tlog-checkpoint without extension lines, signed as a
// C2SP signed-note: origin, tree size in decimal and root in base64, one line
// each, an empty line, then one line for each signature. The origin is
// "yardhasp/" and the ledger id in lower-case hex.
//
//	yardhasp/00010203
//	1
//	bjQLnP+zepicpUTmu3gKLHiQHT+zNzh2hRGjBhevoB0=
//
//	— eastfork zKeoBzIs6daKZ6vugJ5e4R+KMOGHNnAezJWvZ+glU+2LsuckOGg7gsvP2abFNmV+Yf59zRrG5NkPMfGO4N+OvEx52g0=
//
// Here the key is the first of RFC 8032 section 7.1.
//
// A key may sign both checkpoints and records: a checkpoint's text begins with
// "yardhasp/", a signed record with "yardhasp " and a zero byte follows the
// domain, so that neither can be read as the other.
package seal
