// Package clauses holds the table of clauses, testdata/clauses/clauses.yaml, against
// the code: that every clause has its row, that every test a row names is there, that
// nothing prints a clause which is not in the table, and that the page beside the table
// shows it as it is.
// Its tests are all there is:
//
//	go test ./cmd/clauses -run TestClauses -v                  the table, row by row
//	go test ./cmd/clauses -run TestClausesDocument -update     writes testdata/clauses/README.md
//
// A clause is known from the published text, or a copy, or from memory. What is from
// memory may be wrong, so users see it marked: "(unchecked)".
package clauses
