# A start is refused while it could reach anybody, whichever points they locked.

story who is signed on is in the way, also behind a lock of somebody else
rule  decisions.md 9: any committed sign-on refuses what the structure lets reach its zone
given drawn-with-main
open-job mara boot-1 zone both ravi lena
isolate ravi feeder
isolate tomas control
lock ravi feeder ravi-1 boot-1
lock ravi control ravi-2 boot-1
sign-on lena boot-1 as=in
open-job mara room-1 room main tomas
isolate tomas main
lock tomas main tomas-1 room-1 as=his
release tomas his
clear-area tomas room-1
tell-after mara room-1
request mara start-1 room-1 main            -> refused REACHES_PEOPLE
sign-off lena in
request mara start-2 room-1 main

story a drawing that shows less talks nobody who is signed on out of the way
rule  decisions.md 9
given drawn
register-point nia eastfork/mcc-9/fan
open-job mara boot-1 zone both ravi lena
isolate ravi feeder
isolate tomas control
lock tomas control tomas-2
open-job mara feed-1 zone feeder tomas
tell-after mara feed-1
clear-area tomas feed-1
sign-on lena boot-1 at=eastfork
# nia redraws: the feeder feeds a fan, and nothing feeds the leg.
drawing nia stonebend 2 nodes={fan machine} links={feeder to=fan}
request mara start-1 feed-1 feeder          -> refused REACHES_PEOPLE

story nor who only holds a lock elsewhere
rule  decisions.md 9
given drawn
register-point nia eastfork/mcc-9/fan
open-job mara boot-1 zone both ravi lena
isolate ravi feeder
isolate tomas control
lock tomas control tomas-2
open-job mara feed-1 zone feeder tomas
tell-after mara feed-1
clear-area tomas feed-1
lock lena eastfork/mcc-9/fan lena-1 boot-1
drawing nia stonebend 2 nodes={fan machine} links={feeder to=fan}
request mara start-1 feed-1 feeder          -> refused REACHES_PEOPLE

story who signed on under a mistyped job may be anywhere
rule  1910.147(e)(2)(i)
given released
sign-on lena bot-1 as=in
request mara start-1 boot-1 both            -> refused REACHES_ANYWHERE
sign-off lena in
request mara start-2 boot-1 both

story a sign-on that a yard delivers after the job was closed still counts
rule  1910.147(e)(2)(i); decisions.md 9
given released
open-job mara feed-1 zone both tomas
tell-after mara feed-1
clear-area tomas feed-1
mark seen
close-job ravi boot-1
sign-on lena boot-1 at=millrow behind=seen
request mara start-1 feed-1 both            -> refused REACHES_PEOPLE

story a lock that names no job: whoever holds it may be in the zone
rule  1910.147(e)(2)(i)
given released
lock lena control lena-2
request mara start-1 boot-1 feeder          -> refused REACHES_PEOPLE
close-job ravi boot-1                       -> refused STILL_ON_JOB

story a locked point keeps a start away only as far as its drawing is right
rule  NFPA 70E 120.5(1); 1910.147(e)(2)(i)
given drawn-with-main
given boot-locked
isolate tomas main
open-job mara room-1 room main tomas
tell-after mara room-1
clear-area tomas room-1
request mara start-1 room-1 main
withdraw mara start-1
# Something was found live on it, and it counts again once it is walked.
found-live lena boot-1 motor as=live
request mara start-2 room-1 main            -> refused REACHES_PEOPLE
correct-found-live ravi live
request mara start-3 room-1 main            -> refused REACHES_PEOPLE
walk-drawing ravi stonebend
walk-drawing ravi millrow
request mara start-4 room-1 main

story a locked point on a drawing that nobody walked keeps nothing away
rule  NFPA 70E 120.5(1); 1910.147(e)(2)(i)
given drawn
given boot-locked
drawing nia stonebend 2 nodes={bus bus} links={feeder from=bus},{main service bus electricity device={breaker mcc-1 main lockable=yes holes=6}} zones={mcc-room parts={bus electricity}}
isolate tomas main
open-job mara room-1 room main tomas
tell-after mara room-1
clear-area tomas room-1
request mara start-1 room-1 main            -> refused REACHES_PEOPLE
walk-drawing ravi stonebend
request mara start-2 room-1 main

story somebody heard the leg run behind the locked feeder
rule  1910.147(d)(6), (e)(2)(i)
given drawn-with-main
given boot-locked
isolate tomas main
open-job mara room-1 room main tomas
tell-after mara room-1
clear-area tomas room-1
found-started lena feeder "heard the leg run" at=eastfork as=ran
request mara start-1 room-1 main            -> refused REACHES_PEOPLE
correct-found-live ravi ran
request mara start-2 room-1 main
