package ledger

const hourMS = 60 * 60 * 1000

// These limit what one record may carry. Admission and Apply use the same limits.
const (
	// MaxEntryBytes limits one entry, so that it always fits a store transaction.
	MaxEntryBytes = 768 << 10
	// MaxText limits a free text, in bytes.
	MaxText = 2000
	// MaxName limits an id or a name, in bytes.
	MaxName = 64
	// MaxList limits a list of points or people in one record.
	MaxList = 500
	// MaxProcedureBytes limits the text of a procedure.
	MaxProcedureBytes = 256 << 10
	// MaxSignatures limits the signatures of one record.
	MaxSignatures = 32
	// removalKeeps is how long two managers may take to sign a removal after it was
	// written, in ms (common practice, no source).
	removalKeeps = 4 * hourMS
	// walkdownKeeps is how long the findings of a walkdown can be used, in ms: one shift
	// (common practice, no source).
	walkdownKeeps = 12 * hourMS
	// keepEnded is for how many entries an ended hold or request stays in the state.
	keepEnded = 10000
	// ticketWindow is how many recent ticket counters of one device are remembered one
	// by one. Lower counters count as used.
	ticketWindow = 1024
	// keepHashes is how many of a yard's last envelopes are remembered. They tell a
	// repeated envelope from a second envelope with the same number.
	keepHashes = 64
	// touchVolts is the highest voltage on a part that counts as dead, in V,
	// 1910.333(a)(1) and NFPA 70E 110.2.
	touchVolts = 50
	// touchDegrees is the highest temperature of a surface that counts as safe to touch,
	// in °C (common practice, no source).
	touchDegrees = 50
	// clockAhead is how far a time of capture may be ahead of the ledger's time, in ms.
	// Beyond it the signer's clock is in doubt (common practice, no source).
	clockAhead = 2 * 60 * 1000
)
