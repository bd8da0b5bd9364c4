# Energy where none should be, and starts made without the ledger.

story energy found, with the job mistyped, stops the work there
rule  1910.147(d)(6); design.md, found live
given ready
found-live dov bot-1 motor as=live
alarms                                      -> some
work boot-1                                 -> SUSPECT_DRAWING stonebend
correct-found-live ravi live
# The readings from before the fault count no more.
work boot-1                                 -> NOT_PROVED motor

story energy read, with the job mistyped, stops the work there
rule  1910.147(d)(6); design.md, found live
given ready
meter dov bot-1 motor value=480 as=live
alarms                                      -> some
work boot-1                                 -> SUSPECT_DRAWING stonebend
correct-found-live ravi live
work boot-1                                 -> NOT_PROVED motor

story a fault that another crew found voids the readings of every job on that drawing
rule  1910.147(d)(6); NFPA 70E 120.5(1)
given ready
open-job mara paint-1 zone both tomas
found-live dov paint-1 motor as=live
correct-found-live ravi live
work boot-1                                 -> NOT_PROVED motor
time +2m
stored-released ravi boot-1 buckets
prove ravi boot-1
# The drawing that misled somebody supports no work without a new walk.
work boot-1                                 -> NOT_WALKED stonebend
walk-drawing ravi stonebend
walk-drawing ravi millrow
work boot-1                                 -> may start

story nobody corrects what was not known where they wrote
rule  decisions.md 18
given ready
mark seen
found-live dov boot-1 motor as=first
correct-found-live ravi first at=millrow behind=seen -> refused FOUND_NOT_SEEN
correct-found-live ravi first at=millrow
mark seen-more
found-live dov a-slip motor as=second
correct-found-live ravi second at=millrow behind=seen-more -> refused FOUND_NOT_SEEN
correct-found-live ravi second at=millrow
mark seen-still-more
found-started dov feeder "the leg was jogged" as=third
correct-found-live ravi third at=millrow behind=seen-still-more -> refused FOUND_NOT_SEEN
correct-found-live ravi third at=millrow

story who goes in before work may start is told to stop
rule  1910.147(d)(6), (d)(4)(i); 1910.147(c)(9)
given isolated
sign-on lena boot-1 as=in                   -> flagged WORK_MAY_NOT_START
stage boot-1                                -> stopped
alarms                                      -> only STOPPED boot-1
sign-on lena boot-1                         -> flagged SIGNED_ON_TWICE
release lena lena-feeder                    -> flagged STILL_SIGNED_ON
sign-off lena in
tell-before mara boot-1 people=dova         -> flagged STRANGER_TOLD

story volts read with a gauge are volts
rule  1910.147(d)(6)
given ready
reading ravi boot-1 motor electricity gauge 400
work boot-1                                 -> FOUND_LIVE

story volts read on motion are volts
rule  1910.147(d)(6)
given ready
reading ravi boot-1 motor motion meter 400
work boot-1                                 -> FOUND_LIVE

story volts below nothing are volts
rule  1910.147(d)(6)
given ready
reading ravi boot-1 motor electricity meter -400
work boot-1                                 -> FOUND_LIVE

story a pressure that nobody asked for is pressure
rule  1910.147(d)(6)
given ready
reading ravi boot-1 motor air gauge 700
work boot-1                                 -> FOUND_LIVE

story a pressure is pressure with its medium left out
rule  1910.147(d)(6)
given ready
reading ravi boot-1 leg kind=gauge value=700
work boot-1                                 -> FOUND_LIVE

story no stage promises more than the records give
rule  design.md: the stage follows from the records
given released
request mara start-1 boot-1 both
confirm every start-1
stage boot-1                                -> approved
sign-on lena boot-1 as=in
stage boot-1                                -> stopped
sign-off lena in
found-live lena boot-1 motor
stage boot-1                                -> stopped

story locks off without the area cleared is not released
rule  design.md: the stage follows from the records
given ready
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control
stage boot-1                                -> opened

story a start made without the ledger stops the work until its cause is found
rule  design.md, the fine print; protocol.md C4; 1910.147(d)(6)
given ready
found-started dov feeder,control,stonebend/no/such "the leg was jogged" as=ran -> flagged STARTED_POINT_ELSEWHERE, STARTED_POINT_UNKNOWN
point feeder                                -> live
point control                               -> open and held
alarms                                      -> FOUND_STARTED ran
isolate ravi feeder
prove ravi boot-1
work boot-1                                 -> FOUND_STARTED ran
correct-found-live tomas ran                -> refused NOT_PERMITTED
correct-found-live ravi ran
alarms                                      -> no FOUND_STARTED
correct-found-live ravi ran                 -> refused UNKNOWN_FOUND_LIVE

story told of at another yard it stops work at once, and moves no point
rule  protocol.md C4; 1910.147(d)(6)
given ready
found-started lena feeder "heard the leg run" at=eastfork as=ran
point feeder                                -> open and held
work boot-1                                 -> FOUND_STARTED ran
correct-found-live ravi ran
work boot-1                                 -> NOT_PROVED motor
found-closed dov feeder
point feeder                                -> live

story a start that nobody knows the points of is raised all the same
rule  design.md, the fine print
given ready
found-started dov what="the drag moved" at=millrow as=ran
alarms                                      -> FOUND_STARTED ran
