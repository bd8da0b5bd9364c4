# Which key ends what. Keys that pass for somebody's must end nothing of theirs.

story the owner of a found lock is identified before a supervisor, and takes it off
rule  1910.147(c)(5)(ii)(D); decisions.md 25
given ready
found-lock ravi feeder at=eastfork as=lost  -> flagged OWNER_UNKNOWN
release tomas lost                          -> refused NOT_CLAIMED
# A key from before the claim will do: nobody's key put the lock on.
reissue-key nia tomas key=mallory
claim-lock tomas lost mara
holder lost                                 -> tomas
hold lost                                   -> on, no OWNER_UNKNOWN
claim-lock lena lost mara                   -> refused LOCK_HAS_OWNER
release lena lost                           -> refused NOT_YOUR_LOCK
release tomas lost

story a key from after the claim takes the found lock off no more
rule  design.md, Security
given ready
found-lock ravi feeder at=eastfork as=lost
claim-lock tomas lost mara
reissue-key nia tomas key=mallory
release tomas lost                          -> refused KEY_NEWER_THAN_LOCK

story a key that the old one signed for ends what the old one began, and the old one nothing
rule  design.md, Security; decisions.md 33
given ready
sign-on lena boot-1 as=in
release lena lena-control keep=late
replace-key lena key=second
replace-key lena key=third
# What the old key signed while it was good, and a yard delivers only now.
send late at=stonebend                      -> refused KEY_REVOKED
sign-off lena in
release lena lena-feeder
release lena lena-control signed-by=lena    -> refused KEY_REVOKED

story a manager's word gives a new key, and no way to what was on before it
rule  design.md, Security
given ready
sign-on lena boot-1 as=in
reissue-key nia lena key=mallory
release lena lena-feeder signed-by=lena     -> refused KEY_REVOKED
release lena lena-feeder                    -> refused KEY_NEWER_THAN_LOCK
sign-off lena in                            -> refused KEY_NEWER_THAN_SIGN_ON
# Nor by a replacement of the reissued key.
replace-key lena key=third
release lena lena-feeder                    -> refused KEY_NEWER_THAN_LOCK
lock lena feeder lena-1 boot-1 as=new
release lena new

story a key given while a lock was under way ends neither lock nor sign-on
rule  design.md, Security; found by TestExplore
given ready
lock lena feeder lena-1 keep=lock
sign-on lena boot-1 keep=on
release lena lena-feeder keep=off
reissue-key nia lena key=mallory
send lock at=stonebend as=hers
send on at=stonebend as=in
send off at=stonebend                       -> refused KEY_REVOKED
sign-off lena in at=millrow                 -> refused KEY_NEWER_THAN_SIGN_ON
release lena hers at=millrow                -> refused KEY_NEWER_THAN_LOCK
hold hers                                   -> on

story a key that the old one signed for ends what was under way
rule  design.md, Security; decisions.md 33
given ready
lock lena feeder lena-1 keep=lock
sign-on lena boot-1 keep=on
release lena lena-feeder keep=off
replace-key lena key=second
send lock at=stonebend as=hers
send on at=stonebend as=in
send off at=stonebend                       -> refused KEY_REVOKED
sign-off lena in at=millrow
release lena hers at=millrow
hold hers                                   -> off

story what several sign needs good keys of all of them when it is taken
rule  decisions.md 2: what lifts protection needs a key valid at commit
given ready
given managers
removal nia lena-feeder oskar keep=order
revoke-key nia oskar oskar
send order                                  -> refused KEY_REVOKED
hold lena-feeder                            -> on

story the same bytes are one act, whoever sends them
rule  decisions.md 10
given ready
given managers
removal nia lena-feeder oskar keep=order
send order
send order                                  -> refused TICKET_REPEATED

story what a stolen manager's key invited dies with it
rule  decisions.md 33; protocol.md 4
given coop
given managers
invite oskar inv-mallory person={mallory mallory "Three Forks Grain Co-op" manager trained-until=+1000d} once-key=once-mallory expires=+10d
revoke-key nia oskar oskar
join mallory inv-mallory key=mallory signed-by=mallory,once-mallory -> refused INVITER_REVOKED

story no person is named like a yard, and no yard like a person
rule  "stonebend confirms" must mean the yard; common practice, no source
given coop
invite nia inv-x person={millrow millrow "Three Forks Grain Co-op" authorised trained-until=+1000d} once-key=o expires=+10d -> refused NAME_IN_USE
invite nia inv-y yard={ravi ravi} once-key=o expires=+10d -> refused NAME_IN_USE
