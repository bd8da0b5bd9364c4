package shape

// stillTooLong are the functions of the package ledger that are still to be split. The
// list is to become empty; nothing is added to it.
var stillTooLong = []string{
	"ledger.(*filler).likely",
	"ledger.(*oracle).check",
	"ledger.(*oracle).mayStart",
	"ledger.(*oracle).note",
	"ledger.(*oracle).noteAct",
	"ledger.(*oracle).noteBin",
	"ledger.(*oracle).noteDuty",
	"ledger.TestCountersignedByTheWrongPeople",
	"ledger.TestPermitOracle",
	"ledger.TestPermits",
}
