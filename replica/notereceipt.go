package replica

import (
	"yardhasp/ledger"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// What the signer of a record other than a lock is told. No text promises more than
// the protocol gives: see README.md, "What each status may promise".
var (
	Recorded = code.New("RECORDED", code.Row{Args: "at:time warning:why"})
	// KeptWithoutEffect: the ledger keeps the record, but the record changes nothing.
	KeptWithoutEffect = code.New("KEPT_WITHOUT_EFFECT", code.Row{Args: "at:time because:why"})
	// WrittenHere: the record is on this yard's disk and not yet in the ledger.
	WrittenHere    = code.New("WRITTEN_HERE", code.Row{Args: "yard"})
	ReleaseWritten = code.New("RELEASE_WRITTEN", code.Row{Args: "yard"})
	ReleaseEnded   = code.New("RELEASE_ENDED", code.Row{Args: "at:time person"})
)

// What a confirmed record must not be taken for.
var (
	InsideAgainstRules = code.New("INSIDE_AGAINST_RULES", code.Row{Args: "person"})
	RequestIsNoLeave   = code.New("REQUEST_IS_NO_LEAVE", code.Row{})
	EnergiseIsNoLeave  = code.New("ENERGISE_IS_NO_LEAVE", code.Row{})
	PermitHoldsWhile   = code.New("PERMIT_HOLDS_WHILE", code.Row{})
	NoProtectionNow    = code.New("NO_PROTECTION_NOW", code.Row{})
	GetOutNow          = code.New("GET_OUT_NOW", code.Row{})
)

// noteMeans is what the signer of a record other than a lock is told.
func noteMeans(st servicev1.Status, yard string, o *recordv1.Outcome) *recordv1.Finding {
	switch st {
	case servicev1.Status_STATUS_CONFIRMED:
		if len(o.GetDid()) == 0 && len(o.GetFlags()) > 0 {
			return KeptWithoutEffect.About(o.GetRef(), o.GetTimeUnixMs(), o.GetFlags()[:1])
		}
		return Recorded.About(o.GetRef(), o.GetTimeUnixMs(), warning(o))
	case servicev1.Status_STATUS_WRITTEN:
		return WrittenHere.About(yard, yard)
	}
	return nil
}

// warning says what a confirmed record must not be taken for, nil for most records. If
// a record reports energy that was found, that comes first, because work must stop.
func warning(o *recordv1.Outcome) *recordv1.Finding {
	if code.Has(o.GetDid(), ledger.FoundLive) {
		return GetOutNow.About(o.GetRef())
	}
	switch o.GetKind() {
	case "sign_on":
		if len(o.GetFlags()) > 0 {
			return InsideAgainstRules.About(o.GetRef(), o.GetSigner())
		}
	case "request":
		return RequestIsNoLeave.About(o.GetRef())
	case "issue_permit":
		return PermitHoldsWhile.About(o.GetRef())
	case "stand_clear":
		return NoProtectionNow.About(o.GetRef())
	case "energise":
		return EnergiseIsNoLeave.About(o.GetRef())
	}
	return nil
}

// releaseMeans is what somebody is told who has signed off a lock.
func releaseMeans(st servicev1.Status, yard string, o *recordv1.Outcome) *recordv1.Finding {
	if st == servicev1.Status_STATUS_CONFIRMED {
		return ReleaseEnded.About(o.GetRef(), o.GetTimeUnixMs(), o.GetSigner())
	}
	return ReleaseWritten.About(yard, yard)
}
