# Clocks only ever make a reading older, and nobody proves what they did not know.

story the wait for stored energy runs from no capture time in the past
rule  1910.147(d)(5)(i); decisions.md 18
given isolated
isolate ravi feeder captured=1760000000000
isolate tomas control captured=1
stored-released ravi boot-1 buckets
work boot-1                                 -> WAIT_NOT_OVER buckets

story stored energy is released after every opening, each as the yard knew it
rule  1910.147(d)(5)(i); decisions.md 18
given isolated
mark seen
isolate tomas control
isolate ravi feeder
time +2m
stored-released ravi boot-1 buckets behind=seen at=stonebend
work boot-1                                 -> STORED buckets

story a reading from before the opening, sent after it, proves nothing
rule  1910.147(d)(6); decisions.md 18
given ready
mark before
time +1h
isolate ravi feeder captured=1760000000000
tried-handle ravi ravi-feeder
tried-handle lena lena-feeder
meter ravi boot-1 motor value=0 captured=before
work boot-1                                 -> NOT_PROVED motor

story a reading from before the lock proves nothing
rule  1910.147(d)(6)
given drawn
open-job mara boot-1 zone both ravi lena
isolate ravi feeder
isolate tomas control
mark opened
time +10m
lock ravi feeder ravi-1 boot-1
lock ravi control ravi-2 boot-1
meter ravi boot-1 motor value=0 captured=opened+1s
work boot-1                                 -> NOT_PROVED motor

story a reading from the future shows a clock that can't be trusted
rule  decisions.md 18
given isolated
meter ravi boot-1 motor value=0 captured=+1h -> flagged CLOCK_DOUBT
work boot-1                                 -> NOT_PROVED motor

story a yard that had not heard of the fault proves nothing
rule  1910.147(d)(6); decisions.md 18
given ready
mark seen
found-live lena boot-1 motor as=live
correct-found-live ravi live
prove ravi boot-1 at=eastfork behind=seen
stored-released ravi boot-1 buckets at=eastfork behind=seen
work boot-1                                 -> NOT_PROVED motor, STORED buckets

story a new round of work needs its own notice and shut-down
rule  1910.147(c)(9), (d)(2), (f)(1)(v)
given released
request mara start-1 boot-1 both
confirm every start-1
energise ravi start-1 feeder
energise tomas start-1 control
isolate ravi feeder
isolate tomas control
lock ravi feeder ravi-1 boot-1
lock ravi control ravi-2 boot-1
time +2m
stored-released ravi boot-1 buckets
prove ravi boot-1
work boot-1                                 -> NOT_TOLD_BEFORE dov, NOT_SHUT_DOWN
tell-before mara boot-1
shut-down ravi boot-1
work boot-1                                 -> may start

story a lock on a box counts for a reading whose taker's yard knew of the lock
rule  1910.147(f)(3)(ii)(D); decisions.md 18
given drawn
register-box nia stonebend/box-1
open-job mara boot-1 zone both ravi lena
isolate ravi feeder
isolate tomas control
lock ravi control ravi-2 boot-1
equipment-lock mara feeder
mark seen
lock ravi stonebend/box-1 ravi-1 boot-1 at=millrow
box-add mara stonebend/box-1 feeder behind=seen
meter ravi boot-1 motor value=0 behind=seen
work boot-1                                 -> NOT_PROVED motor
meter ravi boot-1 motor value=0
work boot-1                                 -> no NOT_PROVED motor

story time goes on in refused entries too
rule  1910.147(c)(7)(i); what it ends is raised at once
given ready
record-training nia ravi +30s qualified=yes
sign-on ravi boot-1
time +1m
release lena stonebend/1/9999               -> refused UNKNOWN_HOLD
stage boot-1                                -> stopped

story a lock hung before the opening counts once its owner tried the handle
rule  1910.147(d)(4)(ii), (d)(6)
given drawn
open-job mara boot-1 zone both ravi lena
mark hung
time +10m
isolate ravi feeder
lock ravi feeder ravi-1 boot-1 captured=hung as=his
work boot-1                                 -> NOT_TRIED feeder
tried-handle ravi his captured=hung
work boot-1                                 -> NOT_TRIED feeder
tried-handle ravi his
work boot-1                                 -> no NOT_TRIED feeder
