package replica

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"yardhasp/client/words"
	"yardhasp/ledger/code"
	recordv1 "yardhasp/proto/yardhasp/record/v1"
	servicev1 "yardhasp/proto/yardhasp/service/v1"
)

// The words of each status. None promises more than the protocol gives: see
// README.md, "What each status may promise".

func clock(ms int64) string { return time.UnixMilli(ms).UTC().Format("15:04:05 UTC on 2 Jan") }

// lockWords is what the holder of a lock is told.
func lockWords(st servicev1.Status, yard, target, home string, promised []string, at int64) string {
	switch st {
	case servicev1.Status_STATUS_CONFIRMED:
		return fmt.Sprintf("Recorded by the co-op at %s. From now nobody will be given permission to switch on %s until your lock is released, handed over, stood clear of, or removed by two managers. Your own padlock is the protection; this is a record.", clock(at), strings.Join(promised, ", "))
	case servicev1.Status_STATUS_HELD_LOCALLY:
		return fmt.Sprintf("%s has recorded your lock but cannot reach the other yards. Permission to switch on %s will not be given while it stands. Managers elsewhere cannot see it yet.", yard, strings.Join(promised, ", "))
	case servicev1.Status_STATUS_CONTESTED:
		return "Written down here, NOT A PROMISE. A switch-on of this point is being asked for or is under way and we cannot reach the others. Do not rely on this screen: find the person at the panel."
	case servicev1.Status_STATUS_UNCONFIRMED:
		return fmt.Sprintf("Written down at %s, NOT A PROMISE: %s belongs to %s, which has not answered. Keep checking until it says CONFIRMED.", yard, target, home)
	case servicev1.Status_STATUS_LIVE:
		if strings.Count(target, "/") == 1 {
			target = "A point whose key is in " + target
		}
		return fmt.Sprintf("%s is recorded as SWITCHED ON, or nobody has recorded that it was opened. Your lock is noted but protects nothing until it is opened and this screen changes.", target)
	}
	return ""
}

// noteWords is what the signer of any other record is told.
func noteWords(st servicev1.Status, yard string, o *recordv1.Outcome) string {
	switch st {
	case servicev1.Status_STATUS_CONFIRMED:
		if len(o.GetChanges())+len(o.GetDid()) == 0 && len(o.GetFlags()) > 0 {
			return fmt.Sprintf("Kept by the co-op at %s, and IT DOES NOT COUNT: %s.", clock(o.GetTimeUnixMs()), words.English.Says(o.GetFlags()[0]))
		}
		return fmt.Sprintf("Recorded by the co-op at %s.%s", clock(o.GetTimeUnixMs()), meaning(o))
	case servicev1.Status_STATUS_WRITTEN:
		return fmt.Sprintf("Written down at %s, not yet final: the other yards do not have it.", yard)
	case servicev1.Status_STATUS_REFUSED:
		return "Refused: see each condition."
	}
	return ""
}

// meaning says what a confirmed record must not be taken for; empty for most.
func meaning(o *recordv1.Outcome) string {
	switch o.GetKind() {
	case "sign_on":
		if len(o.GetFlags()) > 0 {
			return " You are counted as inside, and YOU MUST NOT BE THERE: get out, and see what each flag says."
		}
	case "request":
		return " This is no permission to close: every yard concerned must confirm, and then each panel must show GO-AHEAD."
	case "issue_permit":
		return " It holds only while every condition on it does: look at it again before anybody goes in or strikes an arc, and get out when it says SUSPENDED."
	case "stand_clear":
		return " You have NO protection from that lock now, and no end of the request brings it back. After the test: lock again, then sign the old lock off."
	case "energise":
		return " This is no permission to close: look at the panel, and close only while it shows GO-AHEAD."
	}
	if code.Has(o.GetDid(), "FOUND_LIVE") || slices.ContainsFunc(o.GetChanges(), func(c string) bool { return strings.HasPrefix(c, "FOUND LIVE") }) {
		return " FOUND LIVE: work there is stopped. Get everybody out now."
	}
	return ""
}

// releaseWords is what somebody is told who has signed off.
func releaseWords(st servicev1.Status, yard string, o *recordv1.Outcome) string {
	switch st {
	case servicev1.Status_STATUS_CONFIRMED:
		return fmt.Sprintf("Ended at %s by %s. You have no protection from it.", clock(o.GetTimeUnixMs()), o.GetSigner())
	case servicev1.Status_STATUS_WRITTEN:
		return fmt.Sprintf("Your sign-off is written at %s. Count yourself UNPROTECTED from now, though others may still see your lock. To go back, lock again first.", yard)
	}
	return noteWords(st, yard, o)
}

// goAheadWords is what the person at a panel reads while the go-ahead shows.
const goAheadWords = "GO-AHEAD: close now, at this panel, while this shows."
