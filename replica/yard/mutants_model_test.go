package yard

import (
	"strings"
	"testing"
)

// modelMutants maps every broken variant of the protocol's own model to the
// mutant of the shipped code that breaks the same rule; ours is "" where there is
// none, and why says why.
var modelMutants = []struct{ model, ours, why string }{
	{"no-fence", "no-fence", ""},
	{"fence-dropped-at-attest", "fence-dropped-at-attest", ""},
	{"fence-lifted-at-own-attest-applied", "fence-lifted-at-own-attest-applied", ""},
	{"energise-not-via-home", "energise-not-via-home", ""},
	{"no-void-on-lock", "lock-neither-voids-nor-blocks", "voiding alone is redundant here (lock-does-not-void): Energise looks for locks itself"},
	{"held-locally-at-non-home", "held-locally-at-non-home", ""},
	{"live-unknown", "live-unknown", ""},
	{"box-yard-not-involved", "box-yard-not-involved", ""},
	{"request-ignores-box-holds", "holds-on-boxes-ignored", "Request and Energise look for holds by one rule"},
	{"attest-outside-journal", "ledger-accepts-seq-gap", "a confirmation is a journal record; one out of its turn is what an unjournaled one would be"},
	{"energise-while-awaiting", "energise-while-awaiting", ""},
	{"energise-after-expiry", "energise-after-expiry", ""},
	{"fence-lifted-by-local-clock", "fence-lifted-by-local-clock", ""},
	{"ledger-accepts-seq-gap", "ledger-accepts-seq-gap", ""},
	{"status-before-durable-write", "sent-before-durable", "the explorer's owner answers only what is durable; what the yard itself hands out too early is Pending"},
	{"recover-while-old-replica-runs", "recovered-with-the-old-machine-on", ""},
	{"goahead-outlives-replica", "", "a go-ahead is shown, never handed out: no code of ours keeps one beyond the replica; surviving a restart is redundant (goahead-survives-restart)"},
	{"one-attest-enough", "one-attest-enough", ""},
	{"inflight-ignored", "", "redundant: no open request implies it (decision 5; pending-energise-ignored)"},
	{"goahead-not-revoked", "goahead-not-revoked", ""},
	{"isolate-at-non-home", "energise-not-via-home", "one rule, admitTarget and home, for every act at a panel"},
	{"isolate-duplicate-accepted", "used-place-taken-again", "a record again has a used place"},
	{"release-by-name", "release-by-name", ""},
	{"membership-not-journaled", "membership-not-journaled", ""},
	{"membership-add-unguarded", "", "redundant: a yard promises nothing that an open request covers or that is live (box-add-under-a-request, box-add-live)"},
	{"membership-remove-under-holds", "membership-remove-under-holds", ""},
	{"restart-without-floor", "restart-without-floor", ""},
	{"restart-floor-without-drained-check", "restart-compacted-unchecked", ""},
	{"no-epoch-check", "no-epoch-check", ""},
	{"walkdown-forgets", "walkdown-forgets-locks", ""},
	{"walkdown-merges", "walkdown-merges", ""},
	{"recover-by-replay", "fresh-disk-serves-unrecovered", "the shipped code knows a disk by its key, not by having seen a recovery"},
	{"stale-confirm", "confirmed-without-a-barrier", "CONFIRMED is said by package replica"},
	{"test-without-standclear", "test-approved-without-everybody", ""},
	{"suspended-holds-ignored", "start-over-a-stood-clear-lock", ""},
	{"standclear-not-bound", "stand-clear-not-bound", ""},
	{"handover-loose", "hand-over-loose", ""},
	{"d-goahead-not-hidden", "goahead-not-hidden", ""},
	{"d-foundclosed-ignored", "foundclosed-ignored", ""},
	{"d-stale-isolate-accepted", "", "redundant: the run refuses it at the yard (stale-opening-counts-in-the-ledger)"},
	{"d-stale-isolate-accepted-found", "", "redundant: the run refuses it at the yard (stale-opening-counts-in-the-ledger)"},
	{"d-stale-isolate-opens-elive", "", "redundant: the run refuses it at the yard (stale-opening-counts-here)"},
	{"d-late-isolate-goahead-survives-restart", "", "redundant: the run refuses the opening that comes later (goahead-survives-restart)"},
	{"d-late-isolate-client-outbox", "opening-sent-later", ""},
	{"d-walkdown-ignores-closed-switch", "walkdown-ignores-closed-switch", ""},
	{"d-late-isolate-recover-keeps-moved", "", "redundant: a fresh disk is another run, and refuses the opening (recovery-keeps-moved)"},
	{"d-moved-signed-from-view", "", "redundant: the yard takes the opening for stale, as the ledger does (moved-from-view-only)"},
	{"d-zone-narrow-undrained-forgotten", "undrained-narrowing-forgotten", ""},
	{"d-zone-yard-not-involved", "zone-yard-not-involved", ""},
	{"d-energise-ignores-sign-on", "energise-ignores-sign-on", ""},
	{"d-sign-on-grant-ignores-requests", "sign-on-grant-ignores-requests", ""},
	{"d-zone-widen-no-void", "widened-reach-keeps-requests", ""},
	{"d-zone-narrow-direct", "narrowed-away", "no revision narrows by itself either (narrowed-at-once)"},
	{"d-walkdown-forgets-signed-on", "walkdown-forgets-people", ""},
	// The model's own redundant guards.
	{"home-yard-need-not-attest", "", "redundant in the model and here (home-yard-not-involved)"},
	{"replica-asks-energise-at-any-time", "", "redundant in the model and here (yard-asks-at-any-time)"},
	{"recover-keeps-open-requests", "", "redundant in the model and here (recovery-keeps-requests)"},
	{"inflight-ignored-strict-grant", "", "redundant in the model and here (pending-energise-ignored)"},
	{"old-grant", "", "redundant in the model; the shipped grant is the stricter one"},
	{"goahead-ignores-request-state", "", "redundant in the model and here (goahead-ignores-request-state)"},
	{"moved-from-view-only", "", "redundant in the model and here (moved-from-view-only)"},
	{"proposed-local-rule", "", "redundant in the model; the shipped grant is this rule"},
	{"proposed-attest-ge", "", "redundant in the model; confirmations are journal records here"},
}

// decisionMutants names for each rule of decisions.md 1-11, and for 32, the mutants that break it.
var decisionMutants = map[int][]string{
	1:  {"other-signer-accepted", "second-record-unnoticed", "copied-yard-goes-on", "copied-yard-keeps-requests", "copied-disk-kept-quiet"},
	2:  {"lock-refused-for-a-revoked-key", "lock-refused-on-a-live-point", "revoked-key-lifts"},
	3:  {"opening-sent-later", "opening-from-before-the-energising", "opening-by-a-revoked-key-counts-here"},
	4:  {"foundclosed-ignored", "foundclosed-keeps-goahead", "started-ignored-here", "closing-ignored-here"},
	5:  {"no-fence", "live-unknown", "held-locally-at-non-home", "promise-of-nothing"},
	6:  {"goahead-not-hidden", "goahead-shown-over-own-lock", "goahead-shown-over-sign-ons", "goahead-shown-over-own-sign-on"},
	7:  {"tail-mark-unchecked", "journal-shorter-than-the-ledger"},
	8:  {"sent-before-durable"},
	9:  {"zone-yard-not-involved", "energise-ignores-sign-on", "widened-reach-keeps-requests", "narrowed-at-once", "narrowed-over-people", "undrained-narrowing-forgotten", "narrowed-away"},
	10: {"retry-written-twice"},
	11: {"out-of-service-after-power-loss", "compacted-journal-rests-on-too-little", "committed-log-not-restored"},
	32: {"two-names-two-places", "place-forgets-older-names", "request-asks-nobody", "energise-asks-nobody", "goahead-over-people-by-another-name", "permit-looks-by-name",
		"narrowed-over-people-by-another-name", "removal-tells-of-nobody", "recovery-tells-of-nobody", "promise-of-one-name", "other-names-yard-not-asked"},
}

// TestEveryRuleHasItsMutant: the two tables name mutants that there are, and none
// of the model's 54 broken variants and 9 redundant ones is left out.
func TestEveryRuleHasItsMutant(t *testing.T) {
	there := map[string]bool{}
	for _, m := range everyMutant() {
		if there[m.name] {
			t.Errorf("two mutants are named %s", m.name)
		}
		there[m.name] = true
	}
	for _, m := range redundant {
		there[m.name] = true
	}
	listed := map[string]bool{}
	for _, m := range modelMutants {
		switch {
		case listed[m.model]:
			t.Errorf("%s is listed twice", m.model)
		case m.ours == "" && m.why == "":
			t.Errorf("%s has neither a mutant nor a reason", m.model)
		case m.ours != "" && !there[m.ours]:
			t.Errorf("%s is said to be broken by %s, and there is no such mutant", m.model, m.ours)
		}
		if i, j := strings.Index(m.why, "("), strings.Index(m.why, ")"); i >= 0 && j > i {
			for name := range strings.SplitSeq(m.why[i+1:j], ", ") {
				if _, after, found := strings.Cut(name, "; "); found {
					name = after
				}
				if !there[name] {
					t.Errorf("%s is said to be the same as %q, which is not there", m.model, name)
				}
			}
		}
		listed[m.model] = true
	}
	if len(listed) != 54+9 {
		t.Errorf("%d variants of the model are listed, want 54 broken and 9 redundant ones", len(listed))
	}
	for _, n := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 32} {
		if len(decisionMutants[n]) == 0 {
			t.Errorf("decision %d has no mutant", n)
		}
		for _, name := range decisionMutants[n] {
			if !there[name] {
				t.Errorf("decision %d is said to be broken by %s, and there is no such mutant", n, name)
			}
		}
	}
}
