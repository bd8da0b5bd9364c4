// Package scenarios plays the written stories of testdata/scenarios end to end:
// three replicas of an invented co-op, and people who type the real command line,
// each with their own key. Its tests are all there is.
//
// A story is a script with these commands beside the usual ones:
//
//	coop                     three yards, stonebend, millrow and eastfork, and the people of the cast
//	as PERSON COMMAND...     PERSON types yardhasp COMMAND..., which must work
//	refused PERSON COMMAND...    it must be refused: exit code 3
//	fails CODE PERSON COMMAND... it must end with the exit code
//	keep NAME REGEXP         keeps what the first group matched of the last output as $NAME
//	cut YARD, mend YARD      the yard's links go down, and come back
//	later DURATION           the clocks of everybody go on
//	until PERSON REGEXP COMMAND...   COMMAND is typed again and again until its output matches
package scenarios
