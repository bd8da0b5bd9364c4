# Before a start: the area is cleared, everybody is off and told.

story what was written before somebody went in clears nothing
rule  decisions.md 18; 1910.147(e)(1)
given ready
mark seen
sign-on lena boot-1 as=in
sign-off lena in
clear-area mara boot-1 at=millrow behind=seen
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control
tell-after mara boot-1
request mara start-1 boot-1 both            -> refused NOT_CLEAR

story people are told after the last lock came off, as whoever told them knew
rule  1910.147(e)(2)(ii); decisions.md 18
given ready
clear-area ravi boot-1
mark seen
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control
tell-after mara boot-1 at=eastfork behind=seen
request mara start-1 boot-1 both            -> refused NOT_TOLD_AFTER

story a hurried second look counts away no grounds that an earlier one counted
rule  1910.333(b)(2)(v)
given released
clear-area ravi boot-1 grounds-fitted=3 grounds-removed=2
clear-area mara boot-1
request mara start-1 boot-1 both            -> refused GROUNDS
clear-area ravi boot-1 grounds-fitted=3 grounds-removed=3
request mara start-2 boot-1 both

story a yard that had not heard that tools are in overrules nothing
rule  1910.147(e)(1); decisions.md 18
given released
mark seen
clear-area ravi boot-1 tools-out=no
clear-area mara boot-1 at=eastfork behind=seen
request mara start-1 boot-1 both            -> refused NOT_CLEAR

story whoever says that tools are in is heard
rule  1910.147(e)(1)
given released
clear-area dov boot-1 tools-out=no
request mara start-1 boot-1 both            -> refused NOT_CLEAR

story no job is closed to ask for the start under a fresh one
rule  1910.147(e)(1); 1910.333(b)(2)(v)
given ready
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control
close-job ravi boot-1                       -> refused NOT_CLEAR
clear-area ravi boot-1 grounds-fitted=2 grounds-removed=1
close-job ravi boot-1                       -> refused GROUNDS
clear-area ravi boot-1 grounds-fitted=2 grounds-removed=2
close-job ravi boot-1

story a lock that names no open job went on after the area was looked over
rule  1910.147(e)(1)
given released
lock tomas feeder tomas-1 typo-1 as=his
release tomas his
tell-after mara boot-1
request mara start-1 boot-1 both            -> refused NOT_CLEAR

story a sign-on that came before its job is not forgotten when the job is opened
rule  1910.147(e)(1); decisions.md 18
given drawn
mark seen
isolate ravi feeder
isolate tomas control
sign-on lena boot-1 at=millrow as=in
open-job mara boot-1 zone both ravi lena
clear-area mara boot-1 at=millrow behind=seen
sign-off lena in at=millrow
tell-after mara boot-1
request mara start-1 boot-1 both            -> refused NOT_CLEAR

story the conditions of another job in the way are asked again at the energising
rule  1910.333(b)(2)(v); design.md, the fine print
given released
open-job mara paint-1 zone both tomas
request mara start-1 boot-1 both
confirm every start-1
asked start-1                               -> approved
# tomas's crew fitted grounds for paint-1 and says so only now.
clear-area tomas paint-1 grounds-fitted=3
energise ravi start-1 feeder                -> refused GROUNDS

story a permission ends at the deadline that was signed
rule  decisions.md 20
given released
request mara start-1 boot-1 both deadline=+1m
confirm every start-1
time +2m
energise ravi start-1 feeder                -> refused REQUEST_OVER

story a yard confirms no request that it had not seen
rule  protocol.md 3.3
given released
mark before
request mara start-1 boot-1 both
confirm stonebend start-1 behind=before     -> refused FENCE_NOT_SEEN
confirm stonebend start-1
