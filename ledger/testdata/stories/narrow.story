# What an older drawing alone shows counts until the zone's yard says otherwise.

story nothing is narrowed while a permit puts somebody at work in the zone
rule  decisions.md 9; 1910.272(f)
given uncabled-ready
no-gas ravi
fire-watch tomas boot-1
hot-permit nia weld-1 hot-work.workers=ravi
release ravi ravi-feeder
clear-area ravi boot-1
tell-after mara boot-1
request mara start-1 room-1 control         -> refused REACHES_HOT_WORK
narrow-zone mara zone control               -> refused PERMIT_STILL_AT_PLACE
hot-work-done ravi weld-1
narrow-zone mara zone control

story the same for a bin whose entry nobody has closed
rule  decisions.md 9; 1910.272(g)(1)(i)
given bin-ready
bin-permit nia in-1
drawing nia eastfork 2 links={old-fill spout grain-3 grain device={blank deck old-blank lockable=yes holes=6}}
drawing nia eastfork 3 without=links/old-fill
walk-drawing ravi eastfork
given bin-unlocked
narrow-zone mara bin eastfork/deck/old-blank -> refused PERMIT_STILL_AT_PLACE
close-permit nia in-1
narrow-zone mara bin eastfork/deck/old-blank

story what ran without the ledger behind a point goes on standing against work
rule  1910.147(d)(6)
given uncabled-ready
release ravi ravi-feeder
found-started dov control "the leg jerked when the panel was switched" at=eastfork as=ran
work boot-1                                 -> FOUND_STARTED ran
narrow-zone mara zone control               -> refused FOUND_STARTED
correct-found-live ravi ran
narrow-zone mara zone control

story a reading that a correction elsewhere made void stays void after a narrowing
rule  1910.147(d)(6); decisions.md 9, 18
given uncabled-ready
lock tomas feeder tomas-1 room-1
time +2m
stored-released ravi boot-1 buckets
prove ravi boot-1
mark seen
found-started dov control "the leg jerked when the panel was switched" at=eastfork as=ran
correct-found-live ravi ran
work boot-1                                 -> NOT_PROVED motor, STORED buckets
release ravi ravi-feeder
narrow-zone mara zone control
work boot-1                                 -> NOT_PROVED motor, STORED buckets
lock ravi feeder ravi-1 boot-1
work boot-1                                 -> NOT_PROVED motor, STORED buckets
# Nor does one that a yard took before all this and sends late.
prove ravi boot-1 at=eastfork behind=seen
stored-released ravi boot-1 buckets at=eastfork behind=seen
work boot-1                                 -> NOT_PROVED motor, STORED buckets
time +2m
stored-released ravi boot-1 buckets
prove ravi boot-1
work boot-1                                 -> may start

story a word from before the walk of a drawing says nothing of that drawing
rule  decisions.md 9, 18
given uncabled
mark seen
walk-drawing ravi stonebend
narrow-zone mara zone control behind=seen   -> refused WALK_NOT_SEEN
narrow-zone mara zone control captured=seen -> refused WALK_NOT_SEEN
# The cable is found, drawn, and left out again by another hand.
mark seen-more
drawing nia stonebend 4 links={control-cable millrow/control-out start electricity}
drawing nia stonebend 5 without=links/control-cable
walk-drawing ravi stonebend
narrow-zone mara zone control behind=seen-more -> refused WALK_NOT_SEEN
narrow-zone mara zone control

story who walked the drawing that the way led through does not narrow alone
rule  common practice, no source
given drawn-with-main
invite nia inv-quinn person={quinn quinn "Three Forks Grain Co-op" supervisor yes +1000d} once-key=once-quinn expires=+10d
join quinn inv-quinn key=quinn signed-by=quinn,once-quinn
drawing nia eastfork 1 nodes={junction bus} links={through millrow/control-out junction electricity}
drawing nia stonebend 3 links={control-cable eastfork/junction}
walk-drawing ravi stonebend
drawing quinn eastfork 2 without=links/through
walk-drawing quinn eastfork
narrow-zone quinn zone control              -> refused OWN_WALK
narrow-zone mara zone control
