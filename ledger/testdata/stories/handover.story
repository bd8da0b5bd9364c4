# Protection passes from one person to the next without a gap.

story the lock of the one coming on is on before that of the one going off comes off
rule  1910.147(f)(4); decisions.md 21: all pairs or none
given ready
lock tomas feeder tomas-1 boot-1 as=a
lock tomas control tomas-2 boot-1 as=b
# One bad pair, and none passes.
hand-over tomas pairs={lena-feeder a},{lena-control millrow/1/9999} others=lena -> refused UNKNOWN_HOLD
hold lena-feeder                            -> on
hand-over tomas pairs={lena-feeder a},{lena-control b} others=lena
hold lena-feeder                            -> off
hold lena-control                           -> off
hold a                                      -> on
hold b                                      -> on
work boot-1                                 -> may start
hand-over tomas pairs={lena-feeder a} others=lena -> refused ENDED

story a crew hands over together, and each of them signs
rule  1910.147(f)(4); decisions.md 21
given ready
lock tomas feeder tomas-1 boot-1 as=a
lock mara feeder mara-1 boot-1 as=b
hand-over tomas pairs={lena-feeder a},{ravi-feeder b} others=lena,ravi -> refused NOT_SIGNED
hand-over tomas pairs={lena-feeder a},{ravi-feeder b} others=ravi,lena,mara
hold lena-feeder                            -> off
hold ravi-feeder                            -> off
hold a                                      -> on
hold b                                      -> on

story who hands their lock over and is still signed on is inside without it
rule  1910.147(f)(4)
given ready
sign-on lena boot-1 as=in
lock tomas feeder tomas-1 boot-1 as=his
hand-over lena pairs={lena-feeder his} others=tomas -> flagged STILL_SIGNED_ON

story who has signed off hands their lock over
rule  1910.147(f)(4)
given ready
sign-on lena boot-1 as=in
sign-off lena in
lock tomas feeder tomas-1 boot-1 as=his
hand-over lena pairs={lena-feeder his} others=tomas -> ok, no STILL_SIGNED_ON

story a key that is younger than the lock passes nothing
rule  design.md, Security: the same key rule as for a release
given ready
lock tomas feeder tomas-1 boot-1 as=his
reissue-key nia lena key=mallory
hand-over tomas pairs={lena-feeder his} others=lena -> refused KEY_NEWER_THAN_LOCK
