package yard

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// testAsked: wanda's lock is on belt, a test of it is asked for, and millrow has
// confirmed it.
var testAsked = []string{"millrow writes down wanda's lock 0", "(lock of wanda)", "millrow applies", "request r0", "millrow applies", "(its yard confirms request r0)"}

// testClear: and she stood clear for it, and abe was told.
var testClear = append(testAsked[:6:6], "wanda stands clear of lock millrow/1/", "millrow applies", "millrow applies", "millrow writes down: tell", "(notice of walt)")

// tests: tests asked for in the middle of the work, for which holders stand clear
// (protocol.md C13, 1910.147(f)(1)).
func tests() []bounds {
	onBelt, onBoxes := []*recordv1.Target{onPoint(belt)}, []*recordv1.Target{onBox(box)}
	twice := [][]string{{belt}, {belt}}
	return []bounds{
		{name: "test", note: "a test of a point that is locked, and a second lock", requests: one(belt), tests: 1, stands: 1, locks: 2, targets: onBelt, tells: 1, isolates: 1, lead: testAsked},
		{name: "test-withdrawn", note: "a test that is withdrawn, then another", requests: twice, tests: 2, stands: 2, locks: 1, targets: onBelt, withdraw: true, lead: testAsked},
		{name: "test-start", note: "a test, then a start", requests: twice, tests: 1, stands: 1, locks: 1, targets: onBelt, releases: true, withdraw: true, tells: 1, lead: append(testClear[:11:11], "request r0 is withdrawn")},
		{name: "test-box", note: "tests of two points whose keys are in one locked box", boxed: []string{leg, belt}, requests: [][]string{{leg}, {belt}}, tests: 2, stands: 2, locks: 1, targets: onBoxes, tells: 1,
			lead: []string{"eastfork writes down wanda's lock 0", "(lock of wanda)", "eastfork applies", "request r0", "eastfork applies", "(its yard confirms request r0)",
				"wanda stands clear of lock eastfork/1/", "eastfork applies", "eastfork applies", "eastfork writes down: tell", "(notice of walt)"}},
		{name: "test-box-withdrawn", note: "the same, and one withdrawn", boxed: []string{leg, belt}, requests: [][]string{{leg}, {belt}}, tests: 2, stands: 2, withdraw: true, locks: 1, targets: onBoxes,
			lead: []string{"eastfork writes down wanda's lock 0", "(lock of wanda)", "request r0", "request r1", "eastfork applies", "eastfork applies", "eastfork applies", "(its yard confirms request r0)", "(its yard confirms request r1)"}},
		{name: "test-lock-again", note: "a lock again around a test, and the old one signed off", requests: one(belt), tests: 1, stands: 1, locks: 2, targets: onBelt, isolates: 1, releases: true, tells: 1,
			lead: append(testClear[:11:11], "walt asks at the panel", "(energise of walt)", "millrow applies", "wanda opens", "(isolate of wanda)", "millrow writes down wanda's lock 1", "(lock of wanda)")},
		{name: "test-zone", note: "a test, and a sign-on to a zone that the point reaches", shaft: true, guarded: true, requests: one(belt), tests: 1, stands: 1, signs: 1, stuck: true,
			lead: []string{"request r0", "walt stands clear of lock millrow/1/", "eastfork applies", "millrow applies", "(its yard confirms request r0)"}},
		{name: "test-zone-over", note: "a sign-on after a test that came to nothing", shaft: true, guarded: true, requests: one(belt), tests: 1, stands: 1, withdraw: true, signs: 1,
			lead: []string{"request r0", "walt stands clear of lock millrow/1/", "request r0 is withdrawn", "eastfork applies", "eastfork applies", "eastfork applies", "millrow applies", "millrow applies", "millrow applies"}},
		{name: "test-restart", note: "a test, and a restart from an older state", requests: one(belt), tests: 1, stands: 1, locks: 1, targets: onBelt, crashes: 1, tells: 1, lead: testClear},
		{name: "test-hand-over", note: "a lock its holder stood clear of, handed over or taken over", people: []string{"wanda", "walt"}, requests: one(belt), tests: 1, stands: 1, locks: 2, targets: onBelt, handOvers: 1, stuck: true, lead: append(testAsked[:6:6], "wanda stands clear")},
		{name: "test-key", note: "a test, and the holder is given a new key", requests: one(belt), tests: 1, stands: 1, locks: 1, targets: onBelt, reissues: 1, stuck: true,
			lead: []string{"millrow writes down wanda's lock 0", "(lock of wanda)", "request r0"}},
		{name: "test-for-a-start", note: "somebody stands clear for a start", guarded: true, requests: one(belt), stands: 1, releases: true, tells: 1, lead: asked},
	}
}
