# A choked leg is dug out by hand, never jogged free.

story a word from before the choke was known is about another one
rule  1910.272(q)(1); decisions.md 18
given drawn
mark seen
found-choked dov zone as=choke
clear-choke ravi choke at=millrow behind=seen -> refused CHOKE_NOT_SEEN
# Dug out, as its capture says, before the choke was found.
clear-choke ravi choke captured=seen-1m     -> refused CHOKE_NOT_SEEN
clear-choke ravi choke

story a revision that gives the choked leg's place to another zone frees nothing
rule  1910.272(q)(1); decisions.md 9
given drawn-with-main
found-choked dov leg as=choke
drawing mara stonebend 3 zones={boot-of-leg-1 label="boot of the leg" parts={leg motion},{leg-motor electricity},{coil electricity}} without=zones/leg-boot,links/control-cable
isolate tomas control
open-job mara room-1 room main,control tomas
tell-after mara room-1
clear-area tomas room-1
request mara start-1 room-1 control         -> refused CHOKED
walk-drawing ravi stonebend
narrow-zone mara zone control               -> refused REACH_UNKNOWN
clear-choke ravi choke
request mara start-2 room-1 control
