# Who stands watch, and when the watch is over.

story one observer, recorded twice, leaves: nobody observes
rule  1910.272(g)(3)
given bin-ready
observe mara crust-3 at=stonebend as=again
bin-permit nia in-1
leave-watch mara again
permit in-1                                 -> suspended

story whoever leaves, knowing of both records, leaves both, also of a fast clock
rule  1910.272(g)(3)
given bin-ready
time +5m
observe mara crust-3 at=stonebend
bin-permit nia in-1
# eastfork's clock is behind; the ledger's own does not go back.
time -4m
leave-watch mara watch
permit in-1                                 -> suspended

story the late word that somebody left ends no watch taken up afterwards
rule  1910.272(g)(3)
given bin-ready
mark seen
time +10m
observe mara crust-3
bin-permit nia in-1
leave-watch dov watch at=millrow behind=seen ago=5m
permit in-1                                 -> in force

story the word that somebody left may come before the one that they stood watch
rule  1910.272(g)(3)
given bin-isolated
given air-tested
leave-watch mara millrow/1/1 # where it will stand
observe mara crust-3 at=millrow as=watch-now
bin-permit nia in-1                         -> refused NO_OBSERVER
# A watch that they take up after it counts.
observe mara crust-3
bin-permit nia in-1
