# A person's own padlock, that nobody else opens and that hangs in one place.

story one padlock recorded in two places stands for a lock in neither
rule  1910.147(c)(5)(ii)
given ready
release ravi ravi-control
lock ravi control ravi-1 boot-1 as=second
prove ravi boot-1
work boot-1                                 -> UNFIT_PADLOCK feeder, UNFIT_PADLOCK control, TWO_PLACES
release ravi second
lock ravi control ravi-2 boot-1
prove ravi boot-1
work boot-1                                 -> may start

story a padlock of one's own is a lock
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 ravi
lock ravi feeder r-9 boot-1 as=new
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> may start

story one that is keyed alike is none
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 ravi kind=keyed-alike
lock ravi feeder r-9 boot-1 as=new
# It hangs beside ravi's own.
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> UNFIT_PADLOCK feeder, KEYED_ALIKE
hold new                                    -> on

story one that opens by numbers is none
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 ravi kind=combination
lock ravi feeder r-9 boot-1 as=new
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> UNFIT_PADLOCK feeder, COMBINATION
hold new                                    -> on

story a yard's padlock is none
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 ravi kind=equipment
lock ravi feeder r-9 boot-1 as=new
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> UNFIT_PADLOCK feeder, EQUIPMENT_PADLOCK
hold new                                    -> on

story another person's padlock is none
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 lena
lock ravi feeder r-9 boot-1 as=new
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> UNFIT_PADLOCK feeder, OTHERS_PADLOCK
hold new                                    -> on

story one that serves for something else is none
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 ravi
lock ravi feeder r-9 boot-1 as=new
report-padlock dov r-9 other-use
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> UNFIT_PADLOCK feeder, OTHER_USE
hold new                                    -> on

story one that was lost is none
rule  1910.147(d)(4)(i), (c)(5)(ii)
given ready
register-padlock nia r-9 ravi
lock ravi feeder r-9 boot-1 as=new
report-padlock dov r-9 lock-lost
work boot-1                                 -> may start
release ravi ravi-feeder
work boot-1                                 -> UNFIT_PADLOCK feeder, LOCK_LOST
hold new                                    -> on

story one whose key is lost holds
rule  common practice, no source: it is flagged alone
given ready
register-padlock nia r-9 ravi
lock ravi feeder r-9 boot-1 as=new
report-padlock dov r-9 key-lost
release ravi ravi-feeder
work boot-1                                 -> may start

story an equipment lock hides nobody's leaving
rule  1910.147(f)(4): the last personal lock off an unfinished job is told
given ready
equipment-lock mara feeder
release ravi ravi-feeder
release ravi ravi-control
release lena lena-feeder
release lena lena-control                   -> flagged PROTECTION_ENDED
