// Package clauses holds the table of clauses, testdata/clauses/clauses.yaml, against
// the code: that every clause has its row, that every test a row names is there, that
// nothing prints a clause which is not in the table, and that DEVELOPERS.md shows it.
// Its tests are all there is:
//
//	go test ./cmd/clauses -run TestClauses -v                  the table, row by row
//	go test ./cmd/clauses -run TestClausesDocument -update     writes it into DEVELOPERS.md
//
// A clause is known from the published text, or a copy, or from memory. What is from
// memory may be wrong, so users see it marked: "(unchecked)".
package clauses
