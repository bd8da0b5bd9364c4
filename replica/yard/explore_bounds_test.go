package yard

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// bounds is one configuration: what may happen, and how often.
type bounds struct {
	name, note string
	third      bool       // stonebend takes part; the box is its own then
	shaft      bool       // millrow's belt reaches eastfork's pit from the start
	boxed      []string   // keys in the box at the start
	live       []string   // points switched on at the start
	requests   [][]string // what each request asks for, in order
	locks      int
	targets    []*recordv1.Target
	found      bool // the locks are found ones
	guarded    bool // leg and belt are locked at the start; belt's lock may come off
	releases   bool
	isolates   int
	late       int // openings that are signed, and sent later
	founds     int // switches closed by somebody and found closed
	closes     int // closings recorded
	bares      int // switches closed by somebody with no go-ahead, and recorded as closed
	signs      int
	own        bool // they sign on for j1, to the belt's own zone at millrow
	moves      int  // keys into and out of the box
	boxPoints  []string
	crashes    int
	compact    bool // the journal may be shortened once
	torn       bool // a record may be lost before it is durable
	jumps      bool
	expiry     bool
	withdraw   bool
	widen      bool
	narrow     bool // a revision leaves the shaft out
	names      bool // eastfork's pit has a second name, the sump, by the air in it; people sign on by that one
	trims      int  // a walked one has left it out, and the pit's yard takes the belt out of its reach
	foreign    bool // panel acts are tried at yards that are not the point's home
	imposter   bool // another machine seals a record in eastfork's name
	revoke     bool
	closeJob   bool     // the job that people sign on to is closed
	tells      int      // notices and looks at the area
	fast       bool     // the yards' clocks are past the first deadline
	managers   bool     // ines is a manager too
	people     []string // whose the locks are, in turn; wanda's if empty
	removals   int      // locks removed by two managers
	handOvers  int
	claims     int      // found locks claimed
	reissues   int      // keys given by a manager
	replaces   int      // keys put in the place of one's own
	rekeyed    string   // whose keys; wanda's if empty
	starts     int      // starts found that the ledger did not make
	started    []string // the points that they name
	losses     int      // disks lost
	rogues     int      // switches closed by somebody while a yard has no journal
	shortens   int      // journals that come back without their last record
	images     int      // older images of a disk put back
	tests      int      // so many requests, the first ones, are for a test
	stands     int      // holders stand clear
	twins      int      // machines started from a copy of eastfork's disk
	alive      bool     // eastfork is recovered while its old machine runs
	stuck      bool     // not every situation can come to a new start
	lead       []string // steps that have been taken already, each by words that begin or end it
	big        bool     // only with -explore.big
}

func one(points ...string) [][]string { return [][]string{points} }

// signedOff: belt's guard is off and abe was told; eastfork has heard of neither.
var signedOff = []string{"millrow writes down the sign-off", "(release of walt)", "millrow writes down: tell", "(notice of walt)"}

// asked: and then belt was asked for.
var asked = append(signedOff[:4:4], "request r0")

const shed = "stonebend/box3"

// configurations: each is searched to its end unless it says big.
func configurations() []bounds {
	onBelt, onBoxes := []*recordv1.Target{onPoint(belt)}, []*recordv1.Target{onBox(box)}
	return append(append(later(), tests()...), []bounds{
		{name: "point", note: "1 request, 1 lock of a point at any yard, 1 opening", requests: one(belt), locks: 1, targets: onBelt, isolates: 1, releases: true, expiry: true, tells: 1},
		{name: "point-found-lock", note: "the lock is one found hanging", requests: one(belt), locks: 1, found: true, targets: onBelt, isolates: 1, stuck: true},
		{name: "box", note: "1 lock of a foreign box that holds the point's key", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, releases: true, expiry: true, withdraw: true, tells: 1},
		{name: "box-expired", note: "a foreign box, and the request expires", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, expiry: true},
		{name: "box-withdrawn", note: "a foreign box, and the request is withdrawn", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, withdraw: true},
		{name: "box-moves", note: "the key goes into and out of the box", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, moves: 2, boxPoints: []string{belt}},
		{name: "box-add", note: "the key goes into an empty box", requests: one(belt), locks: 1, targets: onBoxes, moves: 1, boxPoints: []string{belt}, isolates: 1},
		{name: "box-add-live", note: "the key of a live point into an empty box", live: []string{belt}, locks: 1, targets: onBoxes, moves: 1, boxPoints: []string{belt}, isolates: 1},
		{name: "live-start", note: "the point is live at the start, openings, then a lock", live: []string{belt}, requests: one(belt), locks: 1, targets: onBelt, isolates: 2},
		{name: "two-points", note: "a request for points of two yards", boxed: []string{leg, belt}, requests: one(leg, belt), locks: 1, targets: []*recordv1.Target{onPoint(leg), onPoint(belt), onBox(box)}},
		{name: "two-requests", note: "2 requests for one point", requests: [][]string{{belt}, {belt}}, locks: 1, targets: onBelt, isolates: 1},
		{name: "found-closed", note: "the switch is found closed", requests: one(belt), locks: 1, targets: onBelt, founds: 1, isolates: 1},
		{name: "found-closed-box", note: "found closed, with a foreign box", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, founds: 1, isolates: 1},
		{name: "found-closed-live", note: "live at the start, 2 openings, found closed", live: []string{belt}, requests: one(belt), locks: 1, targets: onBelt, founds: 1, isolates: 2},
		{name: "restart", note: "restart from an older state", requests: one(belt), locks: 1, targets: onBelt, crashes: 1},
		{name: "restart-box", note: "restart from an older state, foreign box", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, crashes: 1},
		{name: "restart-compacted", note: "restart with a journal made shorter, the point live at the start", requests: one(belt), locks: 1, targets: onBelt, crashes: 1, compact: true, founds: 1},
		{name: "torn", note: "records not yet durable are lost with the power", requests: one(belt), locks: 1, targets: onBelt, crashes: 1, torn: true},
		{name: "late-opening", note: "an opening is signed and sent later", requests: one(belt), locks: 1, targets: onBelt, late: 1, closes: 1, crashes: 1},
		{name: "late-opening-found", note: "an opening is signed and sent after the point was found closed", requests: one(belt), locks: 1, targets: onBelt, late: 1, founds: 1, crashes: 1},
		{name: "closing", note: "the closing is recorded, then opened again", requests: one(belt), locks: 1, targets: onBelt, closes: 1, isolates: 1},
		{name: "closing-bare", note: "a switch closed with no go-ahead and recorded as closed", requests: one(belt), locks: 1, targets: onBelt, bares: 1, isolates: 1},
		{name: "snapshot", note: "a yard takes over a newer state whole", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, jumps: true, isolates: 1},
		{name: "zone", note: "a sign-on at any yard against a foreign point that reaches the zone", shaft: true, guarded: true, requests: one(belt), signs: 1, tells: 1, lead: asked},
		{name: "zone-lock", note: "the same with a lock of the point", shaft: true, guarded: true, requests: one(belt), signs: 1, locks: 1, targets: onBelt, tells: 1, lead: asked},
		{name: "zone-away", note: "a sign-on to the point's own zone, at any yard", guarded: true, requests: one(belt), signs: 1, own: true, tells: 1, lead: asked},
		{name: "zone-long", note: "the same from further back", shaft: true, guarded: true, requests: one(belt), signs: 1, tells: 1, big: true},
		{name: "zone-job-closed", note: "the job of the sign-on is closed elsewhere", shaft: true, guarded: true, requests: one(belt), signs: 1, closeJob: true, tells: 1, stuck: true, lead: asked},
		{name: "zone-widened", note: "a revision lets the point reach the zone", guarded: true, requests: one(belt), signs: 1, widen: true, tells: 1, lead: asked},
		{name: "zone-narrowed", note: "a revision leaves out what lets the point reach the zone", shaft: true, guarded: true, requests: one(belt), signs: 1, narrow: true, tells: 1, lead: signedOff},
		{name: "zone-trimmed", note: "and the zone's yard takes the point out of its reach", shaft: true, guarded: true, requests: one(belt), signs: 1, trims: 1, tells: 1, lead: signedOff},
		{name: "names", note: "a sign-on to a place by one name, against a point that reaches it by another", names: true, shaft: true, guarded: true, requests: one(belt), signs: 1, tells: 1, lead: asked},
		{name: "names-widened", note: "a revision lets the point reach the place by its other name", names: true, guarded: true, requests: one(belt), signs: 1, widen: true, tells: 1, lead: asked},
		{name: "names-trimmed", note: "and the yard takes the point out of the reach of the other name", names: true, shaft: true, guarded: true, requests: one(belt), signs: 1, trims: 1, tells: 1, lead: signedOff},
		{name: "foreign", note: "panel acts tried away from home, the point live at the start", live: []string{belt}, requests: one(belt), isolates: 2, foreign: true},
		{name: "imposter", note: "another machine seals a record in eastfork's name", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, imposter: true},
		{name: "zone-restart", note: "a sign-on and a restart from an older state", shaft: true, guarded: true, requests: one(belt), signs: 1, crashes: 1, tells: 1, big: true},
		{name: "revoked", note: "the opener's key is revoked under way", live: []string{belt}, requests: one(belt), locks: 1, targets: onBelt, isolates: 1, revoke: true, stuck: true},
		{name: "three-yards", note: "the box is at a third yard", third: true, boxed: []string{belt}, requests: one(belt), locks: 1, targets: []*recordv1.Target{onBox(shed)}},
		{name: "two-locks", note: "2 locks of a point at any yard, signed off anywhere", requests: one(belt), locks: 2, targets: onBelt, releases: true, tells: 1},
		{name: "two-locks-one-off", note: "2 locks of one person, one of them signed off", requests: one(belt), locks: 2, targets: onBelt, releases: true, tells: 1,
			lead: []string{"millrow writes down wanda's lock 0", "(lock of wanda)", "millrow writes down wanda's lock 1", "millrow writes down the sign-off of millrow/1/2 by wanda", "millrow writes down: tell", "(lock of wanda)", "(release of wanda)", "(notice of walt)"}},
		{name: "two-locks-box", note: "2 locks of the point and of a foreign box", boxed: []string{belt}, requests: one(belt), locks: 2, targets: []*recordv1.Target{onPoint(belt), onBox(box)}, releases: true, tells: 1, big: true},
		{name: "three-yards-two-points", note: "points of two yards, keys in a box at a third", third: true, boxed: []string{leg, belt}, requests: one(leg, belt), locks: 1,
			targets: []*recordv1.Target{onPoint(belt), onBox(shed)}, isolates: 1, big: true},
	}...)
}

// wide has everything on, for random walks.
func wide() []bounds {
	ts := []*recordv1.Target{onPoint(belt), onPoint(leg), onBox(box)}
	w := bounds{name: "wide-boxed", shaft: true, boxed: []string{belt}, requests: [][]string{{belt}, {leg, belt}, {leg}, {belt}}, locks: 5, targets: ts, releases: true, isolates: 4, late: 2, founds: 2,
		closes: 2, signs: 2, moves: 4, boxPoints: []string{leg, belt}, crashes: 3, compact: true, torn: true, jumps: true, expiry: true, withdraw: true, tells: 6, stuck: true}
	g := w
	g.name, g.boxed, g.guarded = "wide-guarded", nil, true
	v := w
	v.name, v.shaft, v.guarded, v.widen, v.closeJob = "wide-revised", false, true, true, true
	k := w
	k.name, k.revoke, k.live = "wide-revoked", true, []string{belt}
	third := w
	third.name, third.third, third.targets = "wide-third", true, []*recordv1.Target{onPoint(belt), onPoint(leg), onBox(shed)}
	l := w
	l.name, l.managers, l.people, l.removals, l.handOvers = "wide-later", true, []string{"wanda", "walt"}, 2, 2
	l.reissues, l.replaces, l.starts, l.started, l.losses, l.rogues, l.shortens = 1, 2, 2, []string{leg, belt}, 2, 1, 1
	m := l
	m.name, m.people, m.found, m.claims, m.guarded, m.boxed, m.torn = "wide-later-found", nil, true, 2, true, nil, false
	c := g
	c.name, c.tests, c.stands = "wide-tests", 2, 4
	d := l
	d.name, d.tests, d.stands = "wide-tests-later", 3, 4
	return []bounds{w, g, v, k, third, l, m, c, d}
}
