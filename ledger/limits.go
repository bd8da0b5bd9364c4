package ledger

const hourMS = 60 * 60 * 1000

// Limits of what one record may carry. Admission and Apply use the same ones.
const (
	// MaxEntryBytes bounds one entry, so that it always fits a store transaction.
	MaxEntryBytes = 768 << 10
	// MaxText bounds a free text, in bytes.
	MaxText = 2000
	// MaxName bounds an id or a name, in bytes.
	MaxName = 64
	// MaxList bounds a list of points or people in one record.
	MaxList = 500
	// MaxProcedureBytes bounds the text of a procedure.
	MaxProcedureBytes = 256 << 10
	// MaxSignatures bounds the signatures of one record.
	MaxSignatures = 32
	// removalKeeps is how long two managers may take to sign a removal, in ms, from
	// when it was written (common practice, no source).
	removalKeeps = 4 * hourMS
	// walkdownKeeps is how long a walkdown of a yard says what is there, in ms: a
	// shift (common practice, no source).
	walkdownKeeps = 12 * hourMS
	// keepEnded is how many entries an ended hold or request stays in the state.
	keepEnded = 10000
	// ticketWindow is how many recent ticket counters of one device are
	// remembered one by one; older ones count as used.
	ticketWindow = 1024
	// keepHashes is how many of a yard's last envelopes are remembered, to tell
	// a repeat from a second envelope for the same place.
	keepHashes = 64
	// touchVolts is what a meter may read on a part that counts as dead,
	// 1910.333(a)(1) and NFPA 70E 110.2.
	touchVolts = 50
	// touchDegrees is the same for a surface, °C (common practice, no source).
	touchDegrees = 50
	// clockAhead is how far a time of capture may be ahead of the ledger's time
	// before the signer's clock is in doubt, in ms (common practice, no source).
	clockAhead = 2 * 60 * 1000
)
