// Package record tells the history of a ledger to people: what each entry is
// about, filtered by person, job, point, lock, yard and time, and written as CSV,
// as JSON lines or as a report to print.
//
// A history is only ever taken from an export that verified (client.VerifyEach):
// About says which root and size everything rests on, so that anybody can have
// the same root computed again from the same export.
package record
