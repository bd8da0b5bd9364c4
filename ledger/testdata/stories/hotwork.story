# Hot work, its fire watch, and starts while it goes on.

story an hour of fire watch is no hour while the watcher stands another watch
rule  NFPA 51B, from memory: the watch has no other duty
given hot
open-job mara boot-2 zone both ravi
hot-permit nia weld-1
hot-work-done lena weld-1
time +10m
fire-watch tomas boot-2 as=other
alarms                                      -> NO_FIRE_WATCH_AFTER
time +55m
close-permit nia weld-1                     -> refused FIRE_WATCH_GOES_ON
leave-watch tomas other
close-permit nia weld-1                     -> refused FIRE_WATCH_GOES_ON
time +61m
close-permit nia weld-1

story who is signed on for another job watches no fire here
rule  NFPA 51B, from memory: the watch has no other duty
given hot
open-job mara boot-2 zone both tomas
hot-permit nia weld-1
sign-on tomas boot-2
permit weld-1                               -> suspended

story the hour after the work is not watched by somebody who is signed on elsewhere
rule  NFPA 51B, from memory: the watch has no other duty
given hot
open-job mara boot-2 zone both tomas
hot-permit nia weld-1
hot-work-done lena weld-1
sign-on tomas boot-2 as=in
time +61m
close-permit nia weld-1                     -> refused FIRE_WATCH_GOES_ON
sign-off tomas in
close-permit nia weld-1                     -> refused FIRE_WATCH_GOES_ON
time +61m
close-permit nia weld-1

story the fire watch counts from the last flame, in whatever order the words arrive
rule  NFPA 51B, from memory
given hot
hot-permit nia weld-1
mark seen
time +50m
hot-work-done lena weld-1
time +20m
hot-work-done ravi weld-1 at=millrow behind=seen ago=65m
close-permit nia weld-1                     -> refused FIRE_WATCH_GOES_ON

story the end of work that had not begun is none of this permit's
rule  1910.272(f); decisions.md 18
given hot
mark seen
time +20m
no-gas ravi
hot-permit nia weld-1
hot-work-done ravi weld-1 at=millrow behind=seen ago=15m -> flagged PERMIT_NOT_SEEN
time +46m
close-permit nia weld-1                     -> refused HOT_WORK_NOT_DONE

story no start while hot work goes on at the machine
rule  1910.272(f); 1910.147(e)(2)(i)
given ready
no-gas ravi
fire-watch tomas boot-1
hot-permit nia weld-1
clear-area ravi boot-1
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control
tell-after mara boot-1
request mara start-1 boot-1 both            -> refused REACHES_HOT_WORK
hot-work-done lena weld-1
request mara start-2 boot-1 both
confirm every start-2
energise ravi start-2 feeder

story nor for a start that another job on the zone asks for
rule  1910.272(f); 1910.147(e)(2)(i)
given ready
open-job mara boot-2 zone both tomas
no-gas ravi
fire-watch tomas boot-1
hot-permit nia weld-1
clear-area ravi boot-1
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control
tell-after mara boot-1
clear-area ravi boot-2
tell-after mara boot-2
request mara start-1 boot-2 feeder          -> refused REACHES_HOT_WORK

story whom a hot-work permit names has their own lock on every point
rule  1910.147(d)(4)(i), (f)(3)(ii)(D)
given ready
no-gas ravi
fire-watch tomas boot-1
release lena lena-control
hot-permit nia weld-1                       -> refused WORKER_NO_LOCK
lock lena control lena-2 boot-1
hot-permit nia weld-2
