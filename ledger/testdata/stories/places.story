# A place is the same place by whatever name: a fumigant, bad air and people in it.

story a fumigant in a zone stops work there, also where nobody enters like a bin
rule  1910.272(g)(1)(iii)
given ready
fumigation-recorded mara zone as=gas
work boot-1                                 -> FUMIGATED zone
no-gas ravi
fire-watch tomas boot-1
hot-permit nia weld-1                       -> refused FUMIGATED
fumigation-cleared mara gas 100
work boot-1                                 -> may start

story a fumigant at a machine stops work at it
rule  1910.272(g)(1)(iii)
given ready
fumigation-recorded mara leg as=gas
work boot-1                                 -> FUMIGATED leg
no-gas ravi
fire-watch tomas boot-1
hot-permit nia weld-1                       -> refused FUMIGATED
fumigation-cleared mara gas 100
work boot-1                                 -> may start

story a fumigant by the name of another zone that shares a machine with the work
rule  1910.272(g)(1)(iii); decisions.md 32
given drawn
drawing nia stonebend 2 zones={leg-pit parts={leg motion}}
open-job mara boot-1 zone both ravi lena
fumigation-recorded mara stonebend/leg-pit as=gas
work boot-1                                 -> FUMIGATED stonebend/leg-pit
fumigation-cleared mara gas 0
work boot-1                                 -> NOT_OPEN, no FUMIGATED

story the gas is where it was when a revision drops the zone by whose name it was recorded
rule  1910.272(g)(1)(iii); decisions.md 32
given drawn
drawing nia stonebend 2 zones={leg-pit parts={leg motion}}
open-job mara boot-1 zone both ravi lena
fumigation-recorded mara stonebend/leg-pit as=gas
drawing nia stonebend 3 without=zones/leg-pit
work boot-1                                 -> FUMIGATED stonebend/leg-pit
fumigation-cleared mara gas 0
work boot-1                                 -> NOT_OPEN, no FUMIGATED

story nobody enters a fumigated bin with a closed way to its old name
rule  1910.272(g)(1)(iii); decisions.md 32
given bin-ready
drawing nia eastfork 2 zones={old-name parts={grain-3 grain}}
fumigation-recorded dov eastfork/old-name as=gas
drawing nia eastfork 3 without=zones/old-name
walk-drawing ravi eastfork
given fumigant-tested
bin-permit nia in-1 bin-entry.closed-paths={gas "gate blanked and taped"} -> refused FUMIGATED

story who stands in the grain of a bin is in that bin, whatever the zone is called
rule  1910.272(g)(1)(i), (iii); decisions.md 32
given bin-ready
drawing nia eastfork 2 zones={old-name parts={grain-3 grain}}
walk-drawing ravi eastfork
open-job mara crust-old eastfork/old-name bin-plan tomas
work crust-old                              -> PERMIT_ELSEWHERE eastfork/old-name
sign-on tomas crust-old as=in               -> flagged PERMIT_ELSEWHERE
bin-permit nia in-1                         -> refused STILL_INSIDE
sign-off tomas in
bin-permit nia in-2
sign-on olga crust-old as=in-too
# She is inside, and it does not name her.
permit in-2                                 -> suspended
close-permit nia in-2                       -> refused STILL_INSIDE
sign-off olga in-too
close-permit nia in-2
# Work on the sweep's motor alone needs no permit.
drawing nia eastfork 3 zones={sweep-drive parts={sweep-motor electricity}}
open-job mara sweep-1 eastfork/sweep-drive eastfork/mcc-1/sweep tomas
work sweep-1                                -> NOT_WALKED, no NO_PERMIT, no PERMIT_ELSEWHERE

story bad air by the bin's second name suspends the permit
rule  1910.272(g)(1)(iii); decisions.md 32
given bin-ready
drawing nia eastfork 2 zones={old-name parts={grain-3 grain}}
walk-drawing ravi eastfork
open-job mara crust-old eastfork/old-name bin-plan tomas
given air-tested
bin-permit nia in-1
air-reading olga no-such eastfork/old-name bottom {oxygen 17000}
permit in-1                                 -> suspended

story what is joined to a bin by the bin's second name is joined to the bin
rule  1910.272(g)(1)(iii); decisions.md 32
given bin-ready
drawing nia eastfork 2 zones={old-name parts={grain-3 grain}}
walk-drawing ravi eastfork
open-job mara crust-old eastfork/old-name bin-plan tomas
fumigation-recorded dov eastfork/office connected=eastfork/old-name
given fumigant-tested
bin-permit nia in-1                         -> refused FUMIGANT_NEAR
drawing nia eastfork 3 without=zones/old-name
walk-drawing ravi eastfork
bin-permit nia in-2                         -> refused FUMIGANT_NEAR

story the gas has its way through another bin
rule  1910.272(g)(1)(iii); decisions.md 32
given bin-ready
fumigation-recorded dov eastfork/office connected=eastfork/bin-4 as=gas
given fumigant-tested
bin-permit nia in-1                         -> refused FUMIGANT_NEAR
fumigation-cleared mara gas 0
bin-permit nia in-2

story nobody's way out is closed by giving the bin another name
rule  1910.272(g)(1)(i); decisions.md 32
given bin-entered
drawing nia eastfork 2 zones={bin-3a label="inside bin 3" entered=yes parts={grain-3 grain,air},{sweep-motor electricity}} without=zones/bin-3
open-job mara crust-new eastfork/bin-3a bin-plan ravi
bin-permit nia in-2 job=crust-new ends=+1h  -> refused STILL_INSIDE
sign-off lena lena-in
sign-off tomas tomas-in
bin-permit nia in-3 job=crust-new ends=+1h  -> refused NOT_WALKED, no STILL_INSIDE
