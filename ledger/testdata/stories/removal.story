# The lock of a person who is not there is taken off by two managers.

story two managers remove the lock, and its owner is told before working again
rule  1910.147(e)(3)(i)-(iii)
given ready
given managers
sign-on lena boot-1 as=on
removal nia lena-feeder oskar               -> flagged ABSENT_SIGNED_ON
hold lena-feeder                            -> off
inside on                                   -> on
hold lena-control                           -> on
hold ravi-feeder                            -> on
alarms                                      -> REMOVAL_NOT_ACKNOWLEDGED lena-feeder
release lena lena-feeder                    -> refused ENDED
removal nia lena-feeder oskar               -> refused ENDED
sign-off lena on
work boot-1                                 -> may start
# She comes back, at another yard.
lock lena feeder lena-1 boot-1 at=millrow as=again -> flagged REMOVAL_NOT_ACKNOWLEDGED
hold again                                  -> on
work boot-1                                 -> REMOVAL_NOT_ACKNOWLEDGED lena
sign-on lena boot-1 at=eastfork as=on-again -> flagged REMOVAL_NOT_ACKNOWLEDGED
inside on-again                             -> on
acknowledge-removal ravi lena-feeder        -> refused NOT_YOUR_REMOVAL
acknowledge-removal nia lena-feeder         -> refused NOT_YOUR_REMOVAL
acknowledge-removal oskar lena-feeder       -> refused NOT_YOUR_REMOVAL
acknowledge-removal lena lena-feeder
work boot-1                                 -> may start
alarms                                      -> no REMOVAL_NOT_ACKNOWLEDGED
acknowledge-removal lena lena-feeder        -> refused UNKNOWN_REMOVAL

story the one responsible for a job is told too
rule  1910.147(e)(3)(iii)
given ready
given managers
removal nia ravi-feeder oskar
work boot-1                                 -> REMOVAL_NOT_ACKNOWLEDGED ravi
lock ravi feeder ravi-1 boot-1
work boot-1                                 -> REMOVAL_NOT_ACKNOWLEDGED ravi

story a manager removes no lock of their own
rule  1910.147(e)(3); decisions.md 21: a remover is never the holder
given ready
given managers
lock petra feeder petra-1 boot-1 as=hers
removal petra hers oskar                    -> refused OWN_LOCK
removal oskar hers petra                    -> refused OWN_LOCK
removal oskar hers nia

story a lock whose owner nobody knows leaves nobody to tell
rule  1910.147(e)(3)(iii)
given ready
given managers
found-lock ravi feeder as=lost
removal nia lost oskar                      -> flagged NOBODY_TO_TELL
hold lost                                   -> off
alarms                                      -> no REMOVAL_NOT_ACKNOWLEDGED

story a removal that was left lying says nothing of where the person is today
rule  1910.147(e)(3)(i); the limit is ours
given ready
given managers
removal nia lena-feeder oskar keep=order
time +5h
send order                                  -> refused REMOVAL_TOO_OLD

story a time of capture far ahead does not keep a removal fresh
rule  1910.147(e)(3)(i); the limit is ours
given ready
given managers
removal nia lena-feeder oskar captured=+10d keep=order
time +5h
send order                                  -> refused POSTDATED

story nobody can have been told of a removal before it was ordered
rule  1910.147(e)(3)(iii)
given drawn
given managers
lock tomas feeder tomas-1 as=his
acknowledge-removal tomas his keep=word
time +1h
removal nia his oskar
send word                                   -> refused REMOVAL_NOT_SEEN
acknowledge-removal tomas his

story after a removal the affected people are told anew
rule  1910.147(e)(2)(ii)
given released
given managers
lock lena feeder lena-1 boot-1 as=hers
clear-area ravi boot-1
tell-after mara boot-1
request mara start-1 boot-1 both            -> refused HOLD_STANDS
removal nia hers oskar
request mara start-2 boot-1 both            -> refused NOT_TOLD_AFTER
tell-after mara boot-1
request mara start-3 boot-1 both
