package yard

import recordv1 "yardhasp/proto/yardhasp/record/v1"

// later: the acts that came after the first protocol.
func later() []bounds {
	onBelt, onBoxes := []*recordv1.Target{onPoint(belt)}, []*recordv1.Target{onBox(box)}
	both := []string{"wanda", "walt"}
	return []bounds{
		{name: "removal", note: "2 locks, one removed by two managers", managers: true, locks: 2, people: both, targets: onBelt, removals: 1, stuck: true},
		{name: "removal-request", note: "2 locks, one removed, and a request", managers: true, requests: one(belt), locks: 2, people: both, targets: onBelt, removals: 1, tells: 1, stuck: true, big: true},
		{name: "removal-own", note: "a manager's lock removed", managers: true, requests: one(belt), locks: 1, people: []string{"ines"}, targets: onBelt, removals: 1, stuck: true},
		{name: "removal-one-hand", note: "a manager who got the key from the other one", managers: true, locks: 1, targets: onBelt, removals: 1, reissues: 1, rekeyed: "ines", stuck: true},
		{name: "hand-over", note: "2 locks of two people, on the point or the box, handed over", boxed: []string{belt}, locks: 2, people: both, targets: []*recordv1.Target{onPoint(belt), onBox(box)}, handOvers: 1, stuck: true},
		{name: "key-reissued", note: "a lock, and the holder is given a new key", locks: 1, targets: onBelt, releases: true, reissues: 1, stuck: true},
		{name: "key-replaced", note: "a lock, and the holder replaces the key", locks: 1, targets: onBelt, releases: true, replaces: 1, stuck: true},
		{name: "key-both", note: "a lock, and the holder's key is replaced and reissued", requests: one(belt), locks: 1, targets: onBelt, releases: true, reissues: 1, replaces: 1, tells: 1, stuck: true, big: true},
		{name: "key-sign-on", note: "a sign-on, and a new key", signs: 1, reissues: 1, stuck: true},
		{name: "hand-over-removed", note: "a hand-over to a lock that two managers remove", managers: true, locks: 2, people: both, targets: onBelt, handOvers: 1, removals: 1, stuck: true},
		{name: "hand-over-own", note: "2 locks of one person", locks: 2, targets: onBelt, handOvers: 1, stuck: true},
		{name: "key-hand-over", note: "a new key, and a hand-over", locks: 2, people: both, targets: onBelt, handOvers: 1, reissues: 1, stuck: true},
		{name: "claim", note: "a found lock, claimed and taken off", found: true, requests: one(belt), locks: 1, targets: onBelt, claims: 1, releases: true, stuck: true},
		{name: "claim-one-hand", note: "a found lock claimed with a key that a manager gave", found: true, locks: 1, targets: onBelt, claims: 1, reissues: 1, stuck: true},
		{name: "claim-other", note: "somebody's lock claimed", locks: 1, people: []string{"walt"}, targets: onBelt, claims: 1, stuck: true},
		{name: "started", note: "a start without the ledger found at any yard", requests: one(belt), locks: 1, targets: onBelt, starts: 1, started: []string{belt}, isolates: 1, stuck: true},
		{name: "disk-lost", note: "a disk lost, the point locked at any yard", managers: true, requests: one(belt), locks: 1, targets: onBelt, losses: 1},
		{name: "disk-lost-box", note: "a disk lost, the box locked", managers: true, boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, losses: 1},
		{name: "disk-lost-one-hand", note: "a disk lost, and a manager who got the key from the other one", managers: true, locks: 1, targets: onBelt, losses: 1, reissues: 1, rekeyed: "ines", stuck: true},
		{name: "disk-lost-two-locks", note: "a disk lost, 2 locks of one person, signed off", managers: true, requests: one(belt), locks: 2, targets: onBelt, losses: 1, releases: true, stuck: true, big: true},
		{name: "disk-lost-two-known", note: "a disk lost, and with it the second lock of one person", managers: true, requests: one(belt), locks: 2, targets: onBelt, losses: 1, releases: true, tells: 1,
			lead: []string{"millrow writes down wanda's lock 0", "(lock of wanda)", "millrow writes down wanda's lock 1", "millrow loses its disk", "mia and ines walk down millrow",
				"eastfork writes down the sign-off of millrow/1/2", "(release of wanda)", "eastfork writes down: tell", "(notice of walt)"}},
		{name: "disk-lost-inside", note: "a disk lost, and with it a sign-on", managers: true, shaft: true, guarded: true, requests: one(belt), signs: 1, losses: 1, tells: 3,
			lead: append(signedOff[:4:4], "eastfork writes down that wanda signs on", "eastfork loses its disk", "mia and ines walk down eastfork", "eastfork applies", "eastfork applies", "eastfork applies",
				"eastfork writes down: look", "(clear_area of walt)", "eastfork writes down: tell for j2", "(notice of walt)")},
		{name: "box-moves-away", note: "the key goes out of the box, recorded anywhere", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, moves: 1, boxPoints: []string{belt}, foreign: true, stuck: true},
		{name: "box-fast-clock", note: "a foreign box, and yards whose clocks are past the deadline", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, fast: true, stuck: true}, // what a fast clock wrote counts late until the ledger's time has caught up
		{name: "disk-lost-closed", note: "a disk lost, the switch closed meanwhile", managers: true, requests: one(belt), locks: 1, targets: onBelt, losses: 1, rogues: 1, isolates: 1},
		{name: "disk-lost-late", note: "an opening signed before the disk was lost", managers: true, locks: 1, targets: onBelt, losses: 1, late: 1, rogues: 1},
		{name: "disk-lost-twice", note: "two disks lost", managers: true, requests: one(belt), locks: 1, targets: onBelt, losses: 2},
		{name: "disk-lost-zone", note: "a disk lost, somebody signed on", managers: true, shaft: true, guarded: true, requests: one(belt), signs: 1, losses: 1, tells: 1, lead: signedOff},
		{name: "old-machine-on", note: "recovered while the old machine runs", managers: true, boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, alive: true, stuck: true},
		{name: "copied-disk", note: "a machine started from a copy of eastfork's disk", boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, twins: 1, stuck: true},
		{name: "shortened", note: "the journal comes back without its last record", managers: true, boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, shortens: 1},
		{name: "older-image", note: "an older image of a disk beside a newer ledger", managers: true, boxed: []string{belt}, requests: one(belt), locks: 1, targets: onBoxes, images: 1, stuck: true},
	}
}
