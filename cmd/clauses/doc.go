// Package clauses holds the table of the trade's clauses, testdata/clauses, against
// the code: TestClauses says for each what is recorded, computed or refused, and by
// which test that is shown. Its tests are all there is.
package clauses
