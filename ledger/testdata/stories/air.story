# The air of a bin, whoever tested it and for whichever job.

story bad air is in the zone, recorded for a job on the same bin
rule  1910.272(g)(1)(iii)
given bin-entered
open-job mara sweep-3 bin bin-plan ravi
air-reading dov sweep-3 bin bottom {carbon-dioxide 6000000}
permit in-1                                 -> suspended

story bad air is in the zone, recorded for a job elsewhere
rule  1910.272(g)(1)(iii)
given bin-entered
open-job mara boot-9 eastfork/desk eastfork/mcc-1/main ravi
air-reading dov boot-9 bin bottom {carbon-dioxide 6000000}
permit in-1                                 -> suspended

story bad air is in the zone, recorded for no job at all
rule  1910.272(g)(1)(iii)
given bin-entered
air-reading dov crust-33 bin bottom {carbon-dioxide 6000000}
permit in-1                                 -> suspended

story good air says nothing for a job of another name
rule  1910.272(g)(1)(iii)
given bin-isolated
observe mara crust-3
open-job mara sweep-3 bin bin-plan ravi
clean-air ravi sweep-3 bin top
clean-air ravi sweep-3 bin middle
clean-air ravi sweep-3 bin bottom
bin-permit nia in-1                         -> refused AIR_NOT_TESTED

story an older bad value and the good one after it stand in for no newer bad one
rule  1910.272(g)(1)(iii); decisions.md 18
given bin-ready
mark seen
time +10m
air-reading ravi crust-3 bin bottom {carbon-dioxide 6000000}
time +1m
air-reading ravi crust-3 bin bottom {carbon-dioxide 5100000} at=stonebend behind=seen ago=8m
air-reading ravi crust-3 bin bottom {carbon-dioxide 400000} at=stonebend behind=seen ago=5m
bin-permit nia in-1 bin-entry.ventilation=forced -> refused AIR_OUT_OF_LIMITS
# A good one that knows the later of two and not the other counts no more.
mark seen-more
air-reading dov crust-3 bin bottom {carbon-dioxide 7000000}
air-reading dov crust-3 bin bottom {carbon-dioxide 5200000} at=stonebend behind=seen-more
air-reading ravi crust-3 bin bottom {carbon-dioxide 400000} at=stonebend behind=seen-more
bin-permit nia in-1 bin-entry.ventilation=forced -> refused AIR_OUT_OF_LIMITS
# Whoever knows of all tests it good.
air-reading ravi crust-3 bin bottom {carbon-dioxide 400000}
bin-permit nia in-2 bin-entry.ventilation=forced

story what was out of limits is so for a job opened after it as well
rule  1910.272(g)(1)(iii)
given bin-ready
air-reading ravi crust-3 bin bottom {hydrogen-sulfide 50000}
open-job mara crust-4 bin bin-plan ravi
bin-permit nia in-1 job=crust-4 ends=+1h bin-entry.ventilation=none -> refused AIR_OUT_OF_LIMITS, VENTILATION_NEEDED
air-reading ravi crust-4 bin bottom {hydrogen-sulfide 0}
bin-permit nia in-2 job=crust-4 ends=+1h bin-entry.ventilation=none -> refused VENTILATION_NEEDED, no AIR_OUT_OF_LIMITS

story nobody says beforehand how the way of a fumigation is closed that nobody recorded
rule  1910.272(g)(1)(iii)
given bin-ready
given fumigant-tested
bin-permit nia in-1 bin-entry.closed-paths={eastfork/1/9999 "slide gate shut and taped"} -> refused CLOSED_PATH_UNKNOWN

story who is in the bin for another job is in the bin, and must be named as well
rule  1910.272(g)(1)(i)
given bin-entered
open-job mara sweep-3 bin bin-plan ravi
sign-on olga sweep-3
permit in-1                                 -> suspended NOT_NAMED olga
