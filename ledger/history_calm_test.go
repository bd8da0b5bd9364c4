package ledger_test

import (
	recordv1 "yardhasp/proto/yardhasp/record/v1"
)

// Days on which all goes well, for the random histories. They show what the tests
// demand of the histories as a whole, so that no demand rests on chance.

// plainDay is work, a test in its middle, and the end.
func (h *history) plainDay() {
	h.seldomTogether()
	h.workUp("boot-1")
	h.testRound("boot-1")
	h.workUp("boot-1")
	h.windDown("boot-1")
}

// dutyDay is that, hot work, requests that come to nothing, and work in the bin.
func (h *history) dutyDay() {
	h.seldomAlone()
	h.settle()
	h.plainDay()
	h.workUp("boot-1")
	h.do("mara", "eastfork", actBoxAdd(feeder))
	h.do("mara", "eastfork", actBoxRemove(feeder))
	for range 3 { // issued, done, closed
		h.hotWork("nia")
	}
	h.givenUp("boot-1", withdrawn)
	h.givenUp("boot-1", runOut)
	h.windDown("boot-1")
	h.binUp()
	h.binDown()
}

// seldomTogether is what takes several people and happens seldom: a lock found,
// claimed, handed over and removed; keys; a start found.
func (h *history) seldomTogether() {
	h.newKey("dov")
	h.givenKey("nia", "dov")
	found := h.step("stonebend", "ravi", actFoundLock(main1)).GetRef()
	h.together("tomas", actClaim(found, "nia"))
	other := h.step("stonebend", "lena", actLock(main1, "", "")).GetRef()
	h.together("tomas", actHandOver([]string{"lena"}, found, other))
	h.together("max", actRemoval(other, "ines"))
	h.together("lena", actAcknowledge(other))
	h.step("stonebend", "ravi", actCorrect(h.step("stonebend", "dov", actFoundStarted("it ran", feeder)).GetRef()))
}

// seldomAlone is what happens seldom and nobody else is needed for.
func (h *history) seldomAlone() {
	h.do("mara", "eastfork", actNarrow(deskZone, h.o.older[deskZone]...))
	h.registerThings("mara", "mara")
	h.do("mara", "stonebend", actClose(h.smallJob()))
	h.do("mara", "eastfork", actLeave(h.do("mara", "eastfork", actStand(binJob, recordv1.Duty_DUTY_OBSERVER)).GetRef()))
	h.recoverYard(&recordv1.RecoverYard{Yard: "millrow", Second: "ines", OldMachineOff: true})
}
