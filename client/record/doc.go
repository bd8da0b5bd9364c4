// Package record shows the history of a ledger to people: what each entry is about. It
// can be filtered by person, job, point, lock, yard and time. It is written as CSV, as
// JSON lines or as a report to print.
//
// A history is only ever taken from an export that verified (client.VerifyEach). It
// names the root and size that everything rests on, so that anybody can compute the same
// root from the same export.
package record
