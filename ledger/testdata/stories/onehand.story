# Where two people are asked for, one who made the other's key could be both.

story one manager gave another a new key: the two of them remove nothing together
rule  1910.147(e)(3); decisions.md 34
given ready
given managers
reissue-key nia oskar key=made-by-nia
removal nia lena-feeder oskar               -> refused ONE_HAND
removal oskar lena-feeder nia               -> refused ONE_HAND
# Nor once that key was replaced by a third one.
replace-key oskar key=third
removal nia lena-feeder oskar               -> refused ONE_HAND
removal petra lena-feeder oskar

story one manager gave two others new keys: both signatures could be that manager's
rule  1910.147(e)(3); decisions.md 34
given drawn
given managers
lock tomas feeder tomas-1 as=his
reissue-key nia oskar key=made-by-nia
reissue-key nia petra key=made-by-nia-too
removal oskar his petra                     -> refused ONE_HAND

story a key given with a given key: the first and the third could be one hand
rule  1910.147(e)(3); decisions.md 34: down the whole chain
given drawn
given managers
lock tomas feeder tomas-1 as=his
reissue-key nia oskar key=made-by-nia
reissue-key oskar petra key=made-by-oskar
removal nia his petra                       -> refused ONE_HAND
removal petra his nia                       -> refused ONE_HAND
removal oskar his petra                     -> refused ONE_HAND
# A manager whose key nobody gave is a second one.
invite nia inv-quinn person={quinn quinn "Three Forks Grain Co-op" manager trained-until=+1000d} once-key=once-quinn expires=+10d
join quinn inv-quinn key=quinn signed-by=quinn,once-quinn
removal petra his quinn

story who ordered a removal gives the absent person a key and says that they were told
rule  1910.147(e)(3)(iii); decisions.md 34
given drawn
given managers
lock tomas feeder tomas-1 as=his
removal nia his oskar
reissue-key nia tomas key=made-by-nia
acknowledge-removal tomas his               -> refused KEY_FROM_THEM
reissue-key oskar tomas key=made-by-oskar
acknowledge-removal tomas his               -> refused KEY_FROM_THEM
reissue-key petra tomas key=made-by-petra
acknowledge-removal tomas his

story the author of a procedure gives somebody a key and approves it with that
rule  1910.147(c)(4)(i); nobody approves what they wrote
given drawn
given managers
publish-procedure nia zone 1
reissue-key nia mara key=made-by-nia
approve-procedure mara zone 1               -> refused ONE_HAND
approve-procedure oskar zone 1
# Or writes it with a key that the approver gave.
publish-procedure mara zone 2
approve-procedure nia zone 2                -> refused ONE_HAND
approve-procedure petra zone 2

story nobody certifies their own training with a key that they gave somebody else
rule  1910.147(c)(7)(iv)
given drawn
given managers
reissue-key petra mara key=made-by-petra
trained mara petra +100d done=now           -> refused KEY_FROM_THEM
trained mara ravi +100d done=now

story who used a procedure gives an inspector a key and inspects with it
rule  1910.147(c)(6)(i)(A)
given approved
given managers
open-job mara boot-2 zone both petra
reissue-key petra wim key=made-by-petra
inspect-procedure wim zone 1 employees=ravi,lena -> refused KEY_FROM_THEM
reissue-key oskar wim key=made-by-oskar
inspect-procedure wim zone 1 employees=ravi,lena

story the co-op's side gives the contractor's person a key and signs for both
rule  1910.147(f)(2)(i)
given drawn
given managers
invite nia inv-hal person={hal hal "Harrow Millwrights" contractor trained-until=+1000d} once-key=once-hal expires=+10d
join hal inv-hal key=hal signed-by=hal,once-hal
reissue-key nia hal key=made-by-nia
exchange-procedures nia stonebend "Harrow Millwrights" hal -> refused ONE_HAND
exchange-procedures mara stonebend "Harrow Millwrights" hal

story who gave the responsible employee their key signs for both when a job changes hands
rule  1910.147(f)(3)(ii)(A); decisions.md 34
given ready
invite nia inv-ines person={ines ines "Three Forks Grain Co-op" manager,authorised trained-until=+1000d} once-key=once-ines expires=+10d
join ines inv-ines key=ines signed-by=ines,once-ines
lock ines feeder job=boot-1
lock ines control job=boot-1
reissue-key ines ravi key=made-by-ines
take-over ines boot-1 ravi                  -> refused ONE_HAND
take-over ines boot-1 mara

story a found lock is not claimed on the word of whoever gave the claimer a key
rule  decisions.md 34; found by TestExplore
given ready
found-lock ravi feeder at=eastfork as=lost
reissue-key nia tomas key=made-by-nia
claim-lock tomas lost nia                   -> refused ONE_HAND
claim-lock tomas lost mara

story one hand says alone what hangs at a yard that lost its journal
rule  protocol.md 3.3; decisions.md 34; found by TestExplore
given ready
given ines
reissue-key nia ines key=made-by-nia
recover-yard nia stonebend ines 2 key=second-disk address=127.0.0.1:9 old-machine-off=yes -> refused ONE_HAND
